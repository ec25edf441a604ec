#include "tests/unit/history/old_files.h"

#include <fstream>
#include <sstream>

#include "gateway/history/database.h"

namespace driftline::history {
namespace {

struct Table {
  std::string name;
  std::string sql;
  std::vector<std::string> columns;
};

std::vector<Table> list_tables(Database& database) {
  std::vector<Table> tables;
  auto found = database.prepare(
      "SELECT name, sql FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY rowid");
  for (found.begin(); found.step();) {
    Table& table = tables.emplace_back();
    found.take_all(table.name, table.sql);
  }
  for (Table& table : tables) {
    auto columns = database.prepare("SELECT name FROM pragma_table_info(?) ORDER BY cid");
    for (columns.begin(table.name); columns.step();) table.columns.push_back(columns.take<std::string>());
  }
  return tables;
}

// quote() ends a text at its first NUL (sqlite.org/lang_corefunc.html).
std::string literal(const std::string& column) {
  return "CASE WHEN typeof(" + column + ") = 'text' AND instr(" + column + ", char(0)) > 0 THEN 'CAST(x''' || hex(" + column +
         ") || ''' AS TEXT)' ELSE quote(" + column + ") END";
}

TableRows rows_of(Database& database, const Table& table) {
  std::string sql = "SELECT ";
  for (const std::string& column : table.columns) sql += (&column == &table.columns.front() ? "" : ", ") + literal(column);
  auto found = database.prepare(sql + " FROM " + table.name + " ORDER BY 1, 2");
  TableRows rows;
  for (found.begin(); found.step();) {
    auto& row = rows.emplace_back();
    for (const std::string& column : table.columns) row[column] = found.take<std::string>();
  }
  return rows;
}

}  // namespace

std::filesystem::path old_file_text(int version) {
  return std::filesystem::path(DRIFTLINE_SOURCE_DIR) / "tests/unit/history/old" /
         ("version-" + std::to_string(version) + ".sql");
}

void make_old_file(int version, const std::string& file) {
  std::ifstream in(old_file_text(version), std::ios::binary);
  if (!in) throw StoreError(14, "there is no " + old_file_text(version).string());
  std::ostringstream statements;
  statements << in.rdbuf();
  Database database(file, Database::Mode::write);
  database.execute(("BEGIN;" + statements.str() + "COMMIT").c_str());
}

Tables tables_of(const std::string& file) {
  Database database(file, Database::Mode::read);
  Tables tables;
  for (const Table& table : list_tables(database)) tables[table.name] = rows_of(database, table);
  return tables;
}

std::vector<std::string> schema_of(const std::string& file) {
  Database database(file, Database::Mode::read);
  std::vector<std::string> statements;
  auto found = database.prepare("SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY type, name");
  for (found.begin(); found.step();) statements.push_back(found.take<std::string>());
  return statements;
}

std::string statements_of(const std::string& file) {
  Database database(file, Database::Mode::read);
  std::ostringstream out;
  out << "PRAGMA application_id=" << database.number("PRAGMA application_id") << ";\n"
      << "PRAGMA user_version=" << database.number("PRAGMA user_version") << ";\n";
  const auto tables = list_tables(database);
  for (const Table& table : tables) out << table.sql << ";\n";
  auto others = database.prepare("SELECT sql FROM sqlite_schema WHERE type <> 'table' AND sql IS NOT NULL ORDER BY rowid");
  for (others.begin(); others.step();) out << others.take<std::string>() << ";\n";
  for (const Table& table : tables) {
    for (const auto& row : rows_of(database, table)) {
      out << "INSERT INTO " << table.name << " VALUES(";
      for (const std::string& column : table.columns) out << (&column == &table.columns.front() ? "" : ",") << row.at(column);
      out << ");\n";
    }
  }
  return out.str();
}

std::vector<std::string> lost(const Tables& before, const Tables& after) {
  std::vector<std::string> all;
  for (const auto& [table, rows] : before) {
    const auto now = after.find(table);
    if (now == after.end()) {
      all.push_back("table " + table);
      continue;
    }
    if (now->second.size() != rows.size())
      all.push_back(table + ": " + std::to_string(rows.size()) + " rows before, " + std::to_string(now->second.size()) + " after");
    for (std::size_t i = 0; i < rows.size() && i < now->second.size(); ++i)
      for (const auto& [column, value] : rows[i])
        if (const auto found = now->second[i].find(column); found == now->second[i].end() || found->second != value)
          all.push_back(table + " row " + std::to_string(i) + ": " + column + " was " + value);
  }
  return all;
}

}  // namespace driftline::history
