// The tables, and the steps that bring an older file to them.
#pragma once

#include <cstdint>
#include <span>

namespace driftline::history {

class Database;

inline constexpr std::int64_t schema_version = 9;

// The steps of this program: the first makes the tables of version 1, the next brings version 1 to 2, ...
[[nodiscard]] std::span<const char* const> schema_steps();

// Sets what a file is given once, at its creation, and what a connection is given each time; brings the schema forward.
// Throws StoreError; for a newer schema with words for a person, and the file is left as it is. Each step is one
// transaction with the number of the version that it leads to: one that fails leaves the file at the version before.
void prepare_for_writing(Database& database, std::span<const char* const> all_steps = schema_steps());
// For a reader: the schema must be exactly ours.
void prepare_for_reading(Database& database);

}  // namespace driftline::history
