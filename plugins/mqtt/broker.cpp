#include "plugins/mqtt/broker.hpp"

#include <MQTTAsync.h>
#include <fmt/format.h>

#include <cstring>
#include <utility>

#include "plugins/shared/settings.hpp"

namespace underwing {
namespace {

constexpr int kMqtt311 = 4;
constexpr int kQos = 1;
constexpr int kInFlightMax = 20;
constexpr std::chrono::seconds kKeepAlive{20};
constexpr std::chrono::seconds kConnectTimeout{10};
constexpr std::chrono::milliseconds kLeaveTimeout{600};

/// The library's own words for the two kinds of address.
std::string library_url(const std::string& url) {
  if (url.starts_with("mqtt://")) return fmt::format("tcp://{}", url.substr(7));
  if (url.starts_with("mqtts://")) return fmt::format("ssl://{}", url.substr(8));
  throw SettingsError(fmt::format("settings.broker '{}' must begin with mqtt:// or mqtts://.", url));
}

/// Positive codes are the broker's own answers (MQTT 3.1.1, table 3.1); others are the library's.
std::string words_of(int code, bool over_tls) {
  switch (code) {
    case 1:
      return "it refuses this version of MQTT";
    case 2:
      return "it refuses the client_id";
    case 3:
      return "it says that it is not available";
    case 4:
    case 5:
      return "it refuses user or password";
    case MQTTASYNC_FAILURE:
      return over_tls ? "no connection over TLS, or a certificate that cannot be trusted" : "no connection";
    default:
      return mqtt::exception::error_str(code);
  }
}

/// Of a heartbeat; zero is none.
std::string number_of(const mqtt::token& token) { return std::to_string(reinterpret_cast<std::uintptr_t>(token.get_user_context())); }

mqtt::connect_options make_options(const BrokerSettings& settings) {
  mqtt::connect_options options;
  options.set_mqtt_version(kMqtt311);
  options.set_clean_session(true);
  options.set_keep_alive_interval(kKeepAlive);
  options.set_connect_timeout(kConnectTimeout);
  options.set_max_inflight(kInFlightMax);
  if (!settings.user.empty()) options.set_user_name(settings.user);
  if (!settings.password.empty()) options.set_password(settings.password);
  options.set_will(mqtt::will_options(settings.will_topic, std::string("offline"), kQos, true));
  if (settings.url.starts_with("mqtts://")) {
    mqtt::ssl_options ssl;
    if (!settings.ca_file.empty()) ssl.set_trust_store(settings.ca_file);
    ssl.set_enable_server_cert_auth(true);
    ssl.set_verify(true);
    options.set_ssl(ssl);
  }
  return options;
}

}  // namespace

void Inbox::post_message(std::string_view topic, std::string_view payload, bool retained) {
  const Header header{static_cast<std::uint32_t>(topic.size()), static_cast<std::uint32_t>(payload.size()),
                      retained};
  bool first = false;
  {
    const std::lock_guard lock(mutex_);
    first = older_.count + newer_.count == 0;
    if (newer_.count >= kWaitingMax / 2) {
      dropped_ += older_.count;
      older_ = std::move(newer_);
      newer_ = {};
    }
    newer_.bytes.append(reinterpret_cast<const char*>(&header), sizeof header);
    newer_.bytes.append(topic);
    newer_.bytes.append(payload);
    ++newer_.count;
  }
  if (first) wake_();
}

void Inbox::post_notice(Event event, std::string text) {
  {
    const std::lock_guard lock(mutex_);
    notices_.push_back({event, std::move(text)});
  }
  wake_();
}

void Inbox::drain(const std::function<void(std::string_view, std::string_view, bool)>& take) {
  taken_older_.bytes.clear();
  taken_newer_.bytes.clear();
  taken_older_.count = taken_newer_.count = 0;
  {
    const std::lock_guard lock(mutex_);
    std::swap(older_, taken_older_);
    std::swap(newer_, taken_newer_);
  }
  for (const Block* block : {&taken_older_, &taken_newer_}) {
    const char* at = block->bytes.data();
    for (std::size_t i = 0; i < block->count; ++i) {
      Header header{};
      std::memcpy(&header, at, sizeof header);
      at += sizeof header;
      const std::string_view topic(at, header.topic_bytes);
      const std::string_view payload(at + header.topic_bytes, header.payload_bytes);
      at += header.topic_bytes + header.payload_bytes;
      take(topic, payload, header.retained);
    }
  }
}

std::vector<Inbox::Notice> Inbox::take_notices() {
  const std::lock_guard lock(mutex_);
  return std::exchange(notices_, {});
}

std::size_t Inbox::take_dropped() {
  const std::lock_guard lock(mutex_);
  return std::exchange(dropped_, 0);
}

Broker::Broker(const BrokerSettings& settings, Inbox& inbox)
    : inbox_(inbox),
      will_topic_(settings.will_topic),
      over_tls_(settings.url.starts_with("mqtts://")),
      client_(library_url(settings.url), settings.client_id),
      options_(make_options(settings)) {
  // The library otherwise writes a trace of every packet into its own memory, for nobody.
  MQTTAsync_setTraceLevel(MQTTASYNC_TRACE_FATAL);
  client_.set_message_callback([this](const mqtt::const_message_ptr& message) {
    inbox_.post_message(message->get_topic(), message->get_payload_ref().str(), message->is_retained());
  });
  client_.set_connection_lost_handler(
      [this](const std::string& cause) { inbox_.post_notice(Inbox::Event::lost, cause); });
}

void Broker::connect() {
  try {
    client_.connect(options_, nullptr, *this);
  } catch (const mqtt::exception& failure) {
    inbox_.post_notice(Inbox::Event::connect_failed, failure.what());
  }
}

void Broker::subscribe(const std::map<std::string, int>& filters) {
  subscribed_.clear();
  mqtt::iasync_client::qos_collection qualities;
  for (const auto& [filter, qos] : filters) {
    subscribed_.push_back(filter);
    qualities.push_back(qos);
  }
  try {
    auto names = mqtt::string_collection::create(subscribed_);
    subscription_ = client_.subscribe(std::move(names), qualities, nullptr, *this);
  } catch (const mqtt::exception& failure) {
    inbox_.post_notice(Inbox::Event::subscribe_failed, failure.what());
  }
}

std::optional<std::string> Broker::refused_filter() {
  if (!subscription_) return std::nullopt;
  const auto codes = subscription_->get_subscribe_response().get_reason_codes();
  for (std::size_t i = 0; i < codes.size() && i < subscribed_.size(); ++i) {
    if (static_cast<int>(codes[i]) > 2) return subscribed_[i];
  }
  return std::nullopt;
}

bool Broker::publish(const std::string& topic, const std::string& payload, bool keep) {
  try {
    client_.publish(topic, payload.data(), payload.size(), kQos, keep);
    return true;
  } catch (const mqtt::exception&) {
    return false;
  }
}

bool Broker::publish_beat(const std::string& topic, const std::string& payload, std::uintptr_t number) {
  try {
    // The library only hands the pointer back: it is a number.
    client_.publish(topic, payload.data(), payload.size(), kQos, false, reinterpret_cast<void*>(number), *this);
    return true;
  } catch (const mqtt::exception&) {
    return false;
  }
}

void Broker::leave() {
  if (!client_.is_connected()) return;
  try {
    // Leaving in good order keeps the broker from sending the will, so we say it ourselves.
    client_.publish(will_topic_, "offline", 7, kQos, true)->wait_for(kLeaveTimeout);
    client_.disconnect(static_cast<int>(kLeaveTimeout.count()))->wait_for(kLeaveTimeout);
  } catch (const mqtt::exception&) {
    // The connection broke meanwhile; then the broker sends the will.
  }
}

void Broker::on_success(const mqtt::token& token) {
  if (token.get_type() == mqtt::token::CONNECT) inbox_.post_notice(Inbox::Event::connected, "");
  if (token.get_type() == mqtt::token::SUBSCRIBE) inbox_.post_notice(Inbox::Event::subscribed, "");
  if (token.get_user_context() != nullptr) inbox_.post_notice(Inbox::Event::beat_taken, number_of(token));
}

void Broker::on_failure(const mqtt::token& token) {
  const std::string why = words_of(token.get_return_code(), over_tls_);
  if (token.get_type() == mqtt::token::CONNECT) inbox_.post_notice(Inbox::Event::connect_failed, why);
  if (token.get_type() == mqtt::token::SUBSCRIBE) inbox_.post_notice(Inbox::Event::subscribe_failed, why);
  if (token.get_user_context() != nullptr) inbox_.post_notice(Inbox::Event::beat_failed, number_of(token));
}

}  // namespace underwing
