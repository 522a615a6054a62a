#pragma once

#include <memory>
#include <string>
#include <vector>

#include "plugins/model-house/farm_model.hpp"

namespace underwing {

struct PublishOptions {
  std::string broker;     ///< mqtt://127.0.0.1:1883
  double minutes = 600;   ///< how long, in the model's time
  std::string ask_topic;  ///< empty: waits for nobody
  std::string answer_topic;
  int pace_ms = 0;         ///< a model minute takes at least this
  std::string story_file;  ///< lines about faults are appended; empty: none
};

/// A message: "farm/house-1/climate/north" and a JSON object.
struct MqttMessage {
  std::string topic;
  std::string payload;
};

/// Messages in the order of the readings. Readings of one instrument and time share a message.
[[nodiscard]] std::vector<MqttMessage> to_mqtt(const std::vector<ModelReading>& readings);

/// Runs the model minute by minute and publishes it. Returns an exit status: 2 where the broker cannot be
/// reached or nobody answers for a minute.
[[nodiscard]] int publish_farm(FarmModel& model, const PublishOptions& options);

}  // namespace underwing
