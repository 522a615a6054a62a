#pragma once

#include <cstddef>

#include "rules/explain/plot.hpp"

/// What the terminal in front of a command can show.
namespace underwing::tool {

/// Columns: of the terminal, else COLUMNS, else 80; at least 40.
[[nodiscard]] std::size_t terminal_columns();

/// Columns that running text is broken at: a wide terminal does not make long lines easier to read.
[[nodiscard]] std::size_t text_columns();

/// Blocks where the locale speaks UTF-8, else plain characters.
[[nodiscard]] Glyphs terminal_glyphs();

}  // namespace underwing::tool
