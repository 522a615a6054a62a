#include "daemon/tool/flock_file.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <charconv>

#include "daemon/file_io.hpp"

namespace underwing::tool {

namespace {

/// A YAML scalar that says exactly this text, in quotes where it might be read as something else.
std::string scalar(std::string_view text) {
  const auto plain = [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' ||
           c == '_' || c == '.' || c == '+';
  };
  const bool safe =
      !text.empty() && plain(text.front()) && text.front() != '-' && text.back() != ' ' &&
      text.back() != ':' && text.find(": ") == std::string_view::npos &&
      std::all_of(text.begin(), text.end(), [&](char c) { return plain(c) || c == ' ' || c == ':'; });
  if (safe) return std::string(text);
  std::string quoted = "\"";
  for (const char c : text) {
    if (static_cast<unsigned char>(c) < 0x20) {
      quoted += fmt::format("\\x{:02x}", static_cast<unsigned>(c));
      continue;
    }
    if (c == '"' || c == '\\') quoted += '\\';
    quoted += c;
  }
  return quoted + '"';
}

/// Steps of light as they stand between braces; in quotes, which the loader then refuses, where they hold anything else.
std::string steps_of_light(std::string text) {
  std::erase_if(text, [](char c) { return c == '{' || c == '}'; });
  const bool plain = std::all_of(text.begin(), text.end(), [](char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == ' ' || c == ':' || c == ',' || c == '.' || c == '-'; });
  return plain ? "{" + text + "}" : scalar(text);
}

std::string light_lines(const NewFlock& flock) {
  if (flock.lights.empty()) {
    return "# Hours of light by age, so that rules know when it is dark:\n"
           "# lights: {0 d: 23 h, 7 d: 18 h}\n"
           "# lights_on: \"05:00\"\n";
  }
  return fmt::format("# Hours of light by age, so that rules know when it is dark{}.\nlights: {}\nlights_on: \"{}\"\n",
                     flock.lights_of.empty() ? "" : fmt::format(", as of {}", flock.lights_of), steps_of_light(flock.lights), flock.lights_on);
}

std::string parent_lines(const NewFlock& flock) {
  if (!flock.parents_wk) return "";
  const std::string age = fmt::format("# The parents were {:g} weeks old", *flock.parents_wk);
  if (*flock.parents_wk >= kYoungParents_wk) return age + ".\n";
  if (!flock.warmer) return fmt::format("{}: young, below {:g}. Their chicks want it 1 K warmer; these packs have no list for them.\n", age, kYoungParents_wk);
  return fmt::format("{}: young, below {:g}. Their chicks want it 1 K warmer.\nadjust:\n  air_target: {}\n", age, kYoungParents_wk, kYoungList);
}

/// "42g" as "42 g".
std::string spaced_quantity(std::string text) {
  const std::size_t end = text.find_first_not_of("0123456789.+-");
  if (end != std::string::npos && end > 0 && text[end] != ' ') text.insert(end, " ");
  return text;
}

}  // namespace

std::vector<std::string> split_names(std::string_view text) {
  std::vector<std::string> names;
  while (!text.empty()) {
    const std::string_view name = text.substr(0, text.find_first_of(", "));
    text.remove_prefix(std::min(name.size() + 1, text.size()));
    if (!name.empty()) names.emplace_back(name);
  }
  return names;
}

std::optional<double> parse_weeks(std::string_view text) {
  double weeks = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), weeks);
  if (error != std::errc() || !(weeks >= 15 && weeks <= 100)) return std::nullopt;
  std::string_view unit(end, static_cast<std::size_t>(text.data() + text.size() - end));
  while (unit.starts_with(' ')) unit.remove_prefix(1);
  while (unit.ends_with(' ')) unit.remove_suffix(1);
  const bool fits = unit.empty() || unit == "w" || unit == "wk" || unit == "week" || unit == "weeks";
  return fits ? std::optional(weeks) : std::nullopt;
}

std::string flock_file_text(const NewFlock& flock, std::string_view time_zone) {
  std::vector<std::string> packs;
  for (const std::string& name : split_names(flock.packs)) packs.push_back(scalar(name));
  std::string text = fmt::format(
      "# One flock in one house. After a change run 'underwing check'.\n"
      "format: 1\n"
      "flock: {}\n"
      "house: {}\n"
      "\n"
      "# When the birds were placed, on the clocks of {}. All ages count from here.\n"
      "placed: {}\n",
      scalar(flock.name), scalar(flock.house), time_zone, scalar(flock.placed));
  if (!flock.unloading.empty()) {
    text += fmt::format(
        "# While the doors are open on that day, only rules that stay in force during work "
        "speak.\nunloading: {}\n",
        scalar(flock.unloading));
  }
  text += fmt::format(
      "birds: {}\n"
      "# Mean weight of a chick at placement.\n"
      "chick_weight: {}\n",
      scalar(flock.birds), scalar(spaced_quantity(flock.chick_weight)));
  if (!flock.goal.empty()) {
    text += fmt::format("# Mean weight to reach on day 7.\ngoal_day_7: {}\n",
                        scalar(spaced_quantity(flock.goal)));
  }
  const std::string adjust = flock.warmer ? ", beside air_target above:\n" : ":\n# adjust:\n";
  const std::string more = (flock.lights.empty() ? "" : light_lines(flock)) + parent_lines(flock);
  text += fmt::format(
      "\n"
      "# The packs that watch over this flock. 'underwing explain --pack NAME' shows what is in one.\n"
      "packs: [{}]\n"
      "\n"
      "{}"
      "# What follows is asleep behind its '#'. Take the sign away to use it.\n"
      "{}"
      "# What differs for this flock alone, by the name of a rule, a curve or a measure{}"
      "#   cold-air: {{on_delay: 3 min}}\n"
      "# When the house is empty again; the rules then rest:\n"
      "# cleared: YYYY-MM-DD HH:MM\n",
      fmt::join(packs, ", "), more.empty() ? "" : more + "\n", flock.lights.empty() ? light_lines(flock) : "", adjust);
  return text;
}

Result<void> write_flock_file(const std::filesystem::path& path, std::string_view text, IfThere if_there) {
  std::error_code code;
  const std::filesystem::path folder =
      path.has_parent_path() ? path.parent_path() : std::filesystem::path(".");
  std::filesystem::create_directories(folder, code);
  // A new file is written under its own name, which O_EXCL keeps from taking another's; an old one is kept
  // until the new text is safe.
  const bool replaces = if_there == IfThere::replace;
  const std::filesystem::path target = replaces ? std::filesystem::path(path.string() + ".new") : path;
  Descriptor file(
      ::open(target.c_str(), O_WRONLY | O_CREAT | O_CLOEXEC | (replaces ? O_TRUNC : O_EXCL), 0644));
  if (!file) return system_failure("cannot write", target);
  if (!write_all(file.get(), text) || ::fsync(file.get()) != 0) {
    const Failure failure = system_failure("cannot write", target);
    std::filesystem::remove(target, code);
    return failure;
  }
  if (replaces && ::rename(target.c_str(), path.c_str()) != 0) return system_failure("cannot replace", path);
  return sync_folder(folder);
}

}  // namespace underwing::tool
