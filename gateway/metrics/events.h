// Everything the metrics writer can say of itself. Changes of state are said, attempts are not.
#pragma once

#include <chrono>
#include <cstdint>
#include <string>

#include "gateway/history/rows.h"
#include "gateway/metrics/line.h"

namespace driftline::metrics::events {

void down(const std::string& url, const std::string& why);
void denied(const std::string& url, const std::string& why);
void refuses_all(const std::string& url, const std::string& why);
void back(const std::string& url, std::chrono::seconds after, std::int64_t rows_waiting);
void lines_taken(std::uint64_t lines);                                     // counted only
void row_refused_by_us(Refusal refusal, history::Feed feed, std::int64_t row_id);
void row_refused_by_server(history::Feed feed, std::int64_t row_id, const std::string& answer);
void counter_unfit(Refusal refusal, const std::string& event);              // counted only
void history_trouble(const history::Trouble& trouble);

}  // namespace driftline::metrics::events
