#pragma once

#include <chrono>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

namespace underwing {

/// A picture in a mail.
struct Picture {
  std::string png;  ///< in base64
  std::string alt;  ///< in words what it shows
};

/// Draws `plots` in a process of its own, so that neither a crash nor a hang of what draws, or of the machine's fonts,
/// costs more than the pictures. Returns by `until` those that were drawn; why others were not goes to standard error.
/// From any thread.
[[nodiscard]] std::vector<Picture> draw_apart(const nlohmann::json& plots, std::chrono::steady_clock::time_point until);

/// What runs in that process: a list of plots in on standard input, and a line of JSON out for each, in order:
/// {"png", "alt"} or {"why"}. Returns the exit status.
int draw_from_input();

}  // namespace underwing
