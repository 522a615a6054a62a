#pragma once

#include <sqlite3.h>

#include "daemon/journal.hpp"

namespace underwing {

/// Does what a ForgetRow asks for, inside the open transaction, and adds up what went. False: the database failed.
[[nodiscard]] bool forget_rows(sqlite3* database, const ForgetRow& row, JournalForgotten& forgotten);

}  // namespace underwing
