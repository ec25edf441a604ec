// Reads the tables of tests/reference/data: comma-separated, '#' lines name source and label, first other line the columns.
#pragma once

#include <cstdlib>
#include <fstream>
#include <limits>
#include <sstream>
#include <stdexcept>
#include <string>
#include <vector>

namespace driftline::reference {

struct Table {
  std::vector<std::string> columns;
  std::vector<std::vector<std::string>> rows;

  [[nodiscard]] std::size_t index(const std::string& column) const {
    for (std::size_t i = 0; i < columns.size(); ++i)
      if (columns[i] == column) return i;
    throw std::runtime_error("no column " + column);
  }
  [[nodiscard]] const std::string& text(std::size_t row, const std::string& column) const { return rows.at(row).at(index(column)); }
  [[nodiscard]] double number(std::size_t row, const std::string& column) const { return std::stod(text(row, column)); }
  // Values that are numbers; "NA" and empty ones are left out.
  [[nodiscard]] std::vector<double> numbers(const std::string& column) const {
    std::vector<double> values;
    for (const auto& row : rows) {
      const std::string& cell = row.at(index(column));
      char* end = nullptr;
      const double value = std::strtod(cell.c_str(), &end);
      if (end != cell.c_str()) values.push_back(value);
    }
    return values;
  }
};

inline Table read_table(const std::string& name) {
  std::ifstream file(std::string(DRIFTLINE_SOURCE_DIR) + "/tests/reference/data/" + name + ".csv");
  if (!file) throw std::runtime_error("cannot open the table " + name);
  Table table;
  for (std::string line; std::getline(file, line);) {
    if (line.empty() || line[0] == '#') continue;
    std::vector<std::string> cells;
    std::istringstream cut(line);
    for (std::string cell; std::getline(cut, cell, ',');) cells.push_back(cell);
    if (table.columns.empty()) {
      table.columns = cells;
    } else {
      cells.resize(table.columns.size());
      table.rows.push_back(cells);
    }
  }
  if (table.rows.empty()) throw std::runtime_error("the table is empty: " + name);
  return table;
}

}  // namespace driftline::reference
