#pragma once

#include "rules/engine/range.hpp"
#include "rules/model.hpp"

namespace underwing {

/// Whether the flock's plan says light at this wall time: 1 or 0; unknown where it has no plan.
[[nodiscard]] double lights_now(const Flock& flock, const Zone& zone, Instant wall);

/// The same throughout an outlook.
[[nodiscard]] Range lights_range(const Flock& flock, const Zone& zone, const Outlook& outlook);

}  // namespace underwing
