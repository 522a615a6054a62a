#pragma once

#include "rules/files/read.hpp"

namespace underwing {

/// Reads what proves that the watch itself is awake and people can be reached: the heartbeat to the outside, over
/// one of the farm's plugins, which are known; and the drills by schedule.
void read_proof(Farm& farm, const Fields& fields, IssueLog& log);

}  // namespace underwing
