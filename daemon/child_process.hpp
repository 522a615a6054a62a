#pragma once

#include <string>
#include <vector>

#include <sys/types.h>

#include "daemon/file_io.hpp"
#include "rules/base/result.hpp"

namespace underwing {

/// A child in a process group of its own, with its three streams as pipes to us. It dies with the thread that
/// started it (PR_SET_PDEATHSIG): start children only from a thread that lives as long as the service.
struct ChildProcess {
  pid_t pid = -1;
  Descriptor input;    ///< we write; not blocking
  Descriptor output;   ///< we read; not blocking
  Descriptor error;    ///< we read; not blocking
  Descriptor ended;    ///< a pidfd: readable once the child has ended
};

/// Starts `program` (a path) with these arguments. All descriptors but the three streams are closed to it, and
/// signals are as at the start of a program. A program that cannot be run is a failure here.
Result<ChildProcess> start_child(const std::string& program, const std::vector<std::string>& arguments);

/// Sends a signal to the whole group; a group that is gone is no matter.
void signal_group(pid_t pid, int signal);

/// Takes the ended child's status and puts it in words: "ended with status 1", "was ended by signal 9".
[[nodiscard]] std::string reap(pid_t pid);

}  // namespace underwing
