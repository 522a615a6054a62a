// Goal: times and spans read as written, and nothing else does. Method: tables.
#include "plugins/shared/clock.hpp"

#include <gtest/gtest.h>

namespace underwing {
namespace {

TEST(Clock, ReadsRfc3339) {
  EXPECT_EQ(read_rfc3339("1970-01-01T00:00:00Z"), 0);
  EXPECT_EQ(read_rfc3339("2026-03-02T09:30:00Z"), 1772443800);
  EXPECT_EQ(read_rfc3339("2026-03-02t10:30:00.25+01:00"), 1772443800.25);
  EXPECT_EQ(read_rfc3339("2026-03-02 05:00:00-04:30"), 1772443800);
  // RFC 3339, section 5.8: the first and second example are one instant.
  EXPECT_EQ(read_rfc3339("1996-12-19T16:39:57-08:00"), read_rfc3339("1996-12-20T00:39:57Z"));
}

TEST(Clock, RefusesWhatIsNoTime) {
  for (const char* text : {"", "2026-03-02", "2026-03-02T09:30:00", "2026-02-30T09:30:00Z",
                           "2026-03-02T24:00:00Z", "2026-03-02T09:60:00Z", "2026-03-02T09:30:00.Z",
                           "2026-03-02T09:30:00+1:00", "2026-03-02T09:30:00Zx", "2026-3-2T09:30:00Z"}) {
    EXPECT_FALSE(read_rfc3339(text)) << text;
  }
}

TEST(Clock, ReadsSpans) {
  EXPECT_EQ(read_span("4 min"), 240);
  EXPECT_EQ(read_span("1.5 h"), 5400);
  EXPECT_EQ(read_span("500 ms"), 0.5);
  EXPECT_EQ(read_span("2d"), 172800);
  for (const char* text : {"", "4", "min", "-4 min", "4 minutes", "4 min x", "inf s"})
    EXPECT_FALSE(read_span(text)) << text;
}

TEST(Clock, WritesUtc) {
  EXPECT_EQ(write_rfc3339(1772443800.9), "2026-03-02T09:30:00Z");
}

}  // namespace
}  // namespace underwing
