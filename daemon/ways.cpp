#include "daemon/ways.hpp"

namespace underwing {

std::vector<Way> ways_of(const PluginEntry& plugin) {
  if (plugin.carries) return *plugin.carries;
  if (plugin.run == "sms") return {Way::text, Way::call};
  if (plugin.run == "mail") return {Way::mail};
  if (plugin.run == "web-hook") return {Way::web_hook};
  if (plugin.run == "print") return {Way::text, Way::call, Way::mail, Way::web_hook};
  return {};
}

bool may_name_people(const PluginEntry& plugin) { return plugin.run == "mqtt" || plugin.run == "print"; }

}  // namespace underwing
