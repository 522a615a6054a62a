#include <CLI/CLI.hpp>
#include <cstdlib>
#include <string>

#include "daemon/service.hpp"

int main(int argc, char** argv) {
  CLI::App app{
      "underwingd keeps watch over the houses of a farm and calls people out.\n"
      "It is no certified life-safety or fire alarm, and replaces neither the house's own thermostat back-up\n"
      "nor the alarm that local rules require.",
      "underwingd"};
  underwing::ServiceOptions options;
  std::string farm = "/etc/underwing";
  const char* state_directory = std::getenv("STATE_DIRECTORY");
  std::string state = state_directory ? state_directory : "/var/lib/underwing";
  std::string story;
  options.socket = "/run/underwing/underwing.sock";
  app.set_version_flag("--version", UNDERWING_VERSION);
  app.add_option("--farm", farm, "The farm's folder: farm.yaml, flocks/, rules/")->capture_default_str();
  app.add_option("--state", state, "Where the journal and the tapes are kept")->capture_default_str();
  app.add_option("--socket", options.socket, "Where commands are taken")->capture_default_str();
  app.add_flag("--trust-clock", options.trust_clock, "The gateway's clock is right though no time server sets it");
  app.add_flag("--time-from-readings", options.time_from_readings,
               "Engine time is the readings' time; nothing moves between them (demonstrations and tests)");
  app.add_option("--story", story, "Append what happens in plain sentences to this file");
  int tape_days = 400, minute_days = 400, record_days = 1100;
  double tape_gb = 4, journal_gb = 4;
  constexpr int kDaysLeast = 7;
  app.add_option("--keep-tapes", tape_days, "Days for which tapes are kept")->check(CLI::Range(kDaysLeast, 100'000))->capture_default_str();
  app.add_option("--keep-tapes-gb", tape_gb, "Room for tapes, in GB; beyond it the oldest go first")->check(CLI::Range(0.01, 100'000.0))->capture_default_str();
  app.add_option("--keep-minutes", minute_days, "Days for which the journal keeps what plots are drawn from")->check(CLI::Range(kDaysLeast, 100'000))->capture_default_str();
  app.add_option("--keep-records", record_days, "Days for which it keeps alarms, messages, answers and rounds")->check(CLI::Range(kDaysLeast, 100'000))->capture_default_str();
  app.add_option("--keep-journal-gb", journal_gb, "Room for the journal, in GB; beyond it what plots are drawn from goes first")
      ->check(CLI::Range(0.01, 100'000.0))
      ->capture_default_str();
  CLI11_PARSE(app, argc, argv);
  options.farm = farm;
  options.state = state;
  options.story = story;
  const auto bytes = [](double gb) { return static_cast<std::uint64_t>(gb * 1e9); };
  options.keep = {std::chrono::days(tape_days), std::chrono::days(minute_days), std::chrono::days(record_days), bytes(tape_gb), bytes(journal_gb)};
  return underwing::Service(std::move(options)).run();
}
