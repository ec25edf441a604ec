// The tables, and the steps that bring an older file to them.
#pragma once

#include <cstdint>

namespace driftline::history {

class Database;

inline constexpr std::int64_t schema_version = 1;

// Sets what a file is given once, at its creation, and what a connection is given each time; brings the schema forward.
// Throws StoreError; for a newer schema with words for a person, and the file is left as it is.
void prepare_for_writing(Database& database);
// For a reader: the schema must be exactly ours.
void prepare_for_reading(Database& database);

}  // namespace driftline::history
