// Goal: what is installed runs from where it was put. Method: an installation into a folder that is thrown away.

#include <gtest/gtest.h>

#include <filesystem>
#include <fmt/format.h>

#include "tests/e2e/gateway.hpp"

namespace underwing::test {
namespace {

TEST(Installed, RunsFromWhereItWasPut) {
  const TemporaryFolder folder;
  const std::string prefix = folder.path("put");
  const Answer installed = shell(fmt::format("cmake --install {} --prefix {}", UNDERWING_BINARY_DIR, prefix));
  ASSERT_EQ(installed.status, 0) << installed.text;
  for (const char* name : {"bin/underwing", "bin/underwingd", "lib/systemd/system/underwingd.service", "libexec/underwing/plugins/underwing-mqtt",
                           "share/underwing/packs/air.yaml", "share/underwing/languages/fr.yaml"}) {
    EXPECT_TRUE(std::filesystem::exists(prefix + "/" + name)) << name << "\n" << installed.text;
  }
  const Answer version = shell(prefix + "/bin/underwingd --version");
  EXPECT_EQ(version.status, 0) << version.text;
  const Answer check = shell(fmt::format("UNDERWING_PACKS={0}/share/underwing/packs {0}/bin/underwing check {1}/examples/farm", prefix, UNDERWING_SOURCE_DIR));
  EXPECT_EQ(check.status, 0) << check.text;
}

}  // namespace
}  // namespace underwing::test
