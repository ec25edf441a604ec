// Histories as older programs left them: tests/unit/history/old/version-N.sql holds the tables and rows of a file of schema
// version N as statements. They are written once, by the program of that version, and never edited.
#pragma once

#include <filesystem>
#include <map>
#include <string>
#include <vector>

namespace driftline::history {

// Each table's rows, each with its values as SQL literals under the columns' names.
using TableRows = std::vector<std::map<std::string, std::string>>;
using Tables = std::map<std::string, TableRows>;

[[nodiscard]] std::filesystem::path old_file_text(int version);  // where the statements of that version lie
// Makes `file` as a program of that schema version left it. Throws StoreError where there is no such text.
void make_old_file(int version, const std::string& file);

[[nodiscard]] Tables tables_of(const std::string& file);
// The statements that make the tables and indices, in the order of their names.
[[nodiscard]] std::vector<std::string> schema_of(const std::string& file);
// All of it as statements that make_old_file can run.
[[nodiscard]] std::string statements_of(const std::string& file);

// What is not as it was: tables, columns, rows and values of `before` that `after` has not. What it has besides is no loss.
[[nodiscard]] std::vector<std::string> lost(const Tables& before, const Tables& after);

}  // namespace driftline::history
