#pragma once

#include "rules/files/read.hpp"

namespace underwing {

/// Reads people, duty and call-out into the farm, whose plugins are known, and judges whether they fit
/// together: names, ways, hours without duty, call-outs that reach one person only.
void read_people(Farm& farm, const Fields& fields, IssueLog& log);

}  // namespace underwing
