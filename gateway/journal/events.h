// Everything the journal can say of itself.
#pragma once

#include <cstdint>
#include <string>

#include "gateway/journal/journal.h"

namespace driftline::journal::events {

void torn_end_cut(const std::string& file, std::uint64_t bytes);
void damaged(const std::string& file, std::uint64_t bytes, std::uint64_t records, Position after);
void append_refused(AppendFailure failure, const std::string& why);  // counted each time, said once
void append_works_again(AppendFailure failure);
void sync_failed(const std::string& why);
void sync_back(std::uint64_t records);
void records_lost_in_carry_over(const std::string& file, std::uint64_t records);
void clock_behind(std::int64_t ms);
void segment_deleted();  // counted only
void delete_failed(const std::string& file, const std::string& why);
void read_failed(const std::string& file, const std::string& why);

}  // namespace driftline::journal::events
