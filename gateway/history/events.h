// Everything the history can say of itself.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "gateway/history/rows.h"

namespace driftline::history::events {

void failing(const std::string& file, const Trouble& trouble);
void works_again(const std::string& file);
void row_damaged(std::string_view table, std::int64_t id);
void rows_retired(std::string_view table, std::int64_t rows);  // counted only
void retention_waits(const std::string& cursor, std::string_view table);
void cursor_forgotten(const std::string& cursor);

}  // namespace driftline::history::events
