#pragma once

#include <optional>
#include <string>

#include "rules/base/zone.hpp"

namespace underwing {

/// The table of an IANA time zone ("Europe/London") from the system's zone data, 1970 to 2100; nullopt where
/// there is no such zone. Reads files; never throws. Fits ZoneSource of rules/files/load.hpp.
[[nodiscard]] std::optional<Zone> load_zone(const std::string& name);

/// The version of the system's zone data, for example "2025b"; empty where it is not said.
[[nodiscard]] std::string zone_data_version();

}  // namespace underwing
