#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <cmath>
#include <memory>

#include "plugins/model-house/farm_model.hpp"
#include "plugins/model-house/model_settings.hpp"
#include "plugins/model-house/mqtt_publisher.hpp"
#include "plugins/shared/clock.hpp"
#include "plugins/shared/plugin.hpp"
#include "plugins/shared/senml.hpp"

namespace underwing {
namespace {

/// The model on the line protocol: in step with the wall clock, or with the daemon's steps.
class ModelHouse final : public Plugin {
 public:
  ModelHouse() : Plugin("model-house", {"read", "step"}) {}

 private:
  void on_settings(Settings& settings) override {
    stepped_ = settings.flag("stepped", false);
    double start = std::floor(wall_seconds());
    if (settings.has("start")) {
      const auto time = read_moment(settings.text("start"));
      if (!time) settings.refuse("start", "is no time; it looks like 2026-03-02 20:30");
      start = *time;
    } else if (stepped_) {
      settings.refuse("start", "is missing; a stepped model must know where it begins");
    }
    model_ = std::make_unique<FarmModel>(read_setup(settings, start), start);
    // Where the model begins in the past or the future, its times are shifted to now.
    shift_s_ = stepped_ ? 0 : std::floor(wall_seconds()) - start;
    settings.finish();
    health(true, fmt::format("the model begins at {}", write_rfc3339(start)));
  }

  void on_step(double time) override {
    if (stepped_) play(time);
  }

  std::optional<Clock::time_point> on_time(Clock::time_point now) override {
    if (stepped_) return std::nullopt;
    play(wall_seconds() - shift_s_);
    return now + std::chrono::seconds(1);
  }

  void play(double time_s) {
    std::vector<ModelReading> readings;
    model_->advance(time_s, readings);
    for (const ModelReading& reading : readings) {
      const std::string name = fmt::format("{}/{}/{}", reading.house, reading.measure, reading.probe);
      append_senml(lines(), name, reading.unit, reading.value, reading.time_s + shift_s_);
    }
    for (const StoryLine& line : model_->take_story()) {
      fmt::print(stderr, "{}  {}\n", write_rfc3339(line.time_s + shift_s_), line.text);
    }
  }

  bool stepped_ = false;
  double shift_s_ = 0;
  std::unique_ptr<FarmModel> model_;
};

int publish(const std::string& settings_file, const std::string& start, const PublishOptions& options) {
  try {
    const auto start_s = read_moment(start);
    if (!start_s) throw SettingsError("--start must be a time such as 2026-03-02T20:30:00Z.");
    const nlohmann::json json = read_yaml_file(settings_file);
    Settings settings(json, "settings");
    FarmModel model(read_setup(settings, *start_s), *start_s);
    settings.finish();
    return publish_farm(model, options);
  } catch (const SettingsError& problem) {
    fmt::print(stderr, "underwing-model-house: {}\n", problem.what());
    return 2;
  }
}

int run(int argc, char** argv) {
  CLI::App app(
      "underwing-model-house: a physical model of broiler houses with faults. Without options it is a "
      "plugin\n"
      "and speaks Underwing's line protocol on standard input and output; with --mqtt it publishes to a "
      "broker.\n"
      "plugins/README.md describes the protocol and every setting.",
      "underwing-model-house");
  app.set_version_flag("--version", std::string("underwing-model-house ") + UNDERWING_VERSION);
  PublishOptions options;
  std::string settings_file, start;
  std::vector<std::string> step_topics;
  auto* mqtt =
      app.add_option("--mqtt", options.broker, "Publish to this broker, such as mqtt://127.0.0.1:1883");
  auto add = [&](CLI::Option* option) { option->needs(mqtt); };
  auto* file = app.add_option("--settings", settings_file, "Settings of the model, a YAML file");
  auto* from =
      app.add_option("--start", start, "Where the model's time begins, such as 2026-03-02T20:30:00Z");
  add(file);
  add(from);
  mqtt->needs(file)->needs(from);
  add(app.add_option("--minutes", options.minutes, "How many minutes of the model's time (600)")
          ->check(CLI::Range(1.0, 1e7)));
  add(app.add_option(
             "--step-topics", step_topics,
             "Two topics, ASK,ANSWER: after each minute {\"time\":T} goes out on ASK, and the next minute "
             "waits for it on ANSWER")
          ->delimiter(',')
          ->expected(2));
  add(app.add_option("--pace-ms", options.pace_ms,
                     "A minute of the model takes at least so many milliseconds (0)")
          ->check(CLI::Range(0, 60'000)));
  add(app.add_option("--story", options.story_file, "Append a line to this file for each fault"));
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& problem) {
    return app.exit(problem) == 0 ? 0 : 2;
  }
  if (options.broker.empty()) return ModelHouse().run();
  if (!step_topics.empty()) {
    options.ask_topic = step_topics[0];
    options.answer_topic = step_topics[1];
  }
  return publish(settings_file, start, options);
}

}  // namespace
}  // namespace underwing

int main(int argc, char** argv) {
  return underwing::run(argc, argv);
}
