#pragma once

#include <deque>

#include "rules/files/load.hpp"
#include "rules/files/yaml_tree.hpp"

namespace underwing {

/// True for a text such as growth/own.csv: the name of a table that stands in the place of a curve's points.
[[nodiscard]] bool names_table(const YamlNode& node);

/// Puts the rows of CSV tables in the place of every `points` that names one, as ages and values with their place
/// in the table, so that what is wrong is said there. A row is an age in days and a value in the curve's unit;
/// a first row of words and lines that begin with # are passed over. `sources` keeps the tables' texts.
void put_tables(YamlNode& root, const FarmFiles& files, std::deque<Source>& sources, IssueLog& log);

}  // namespace underwing
