#include "daemon/plugin_messages.hpp"

#include "daemon/json_text.hpp"

namespace underwing {

std::optional<PluginHealth> take_message(Watch& watch, const std::string& plugin, const std::string& method, const nlohmann::json& params,
                                         Watch::MayName may_name) {
  const auto text = [&](const char* key) { return text_of(params, key); };
  if (!params.is_object()) return std::nullopt;
  if (method == "receipt") {
    const std::string outcome = text("outcome");
    watch.receipt(text("delivery"), outcome == "sent"        ? Delivery::Outcome::sent
                                    : outcome == "delivered" ? Delivery::Outcome::delivered
                                                             : Delivery::Outcome::failed,
                  text("text"));
  } else if (method == "reply") {
    const std::string key = text("key");
    watch.reply(text("from"), text("by"), text("text"), may_name, key.empty() ? key : plugin + "/" + key);
  } else if (method == "health") {
    const auto ok = params.find("ok");
    return PluginHealth{ok != params.end() && ok->is_boolean() && ok->get<bool>(), text("text")};
  }
  return std::nullopt;
}

}  // namespace underwing
