#include "daemon/tool/tool.hpp"
namespace underwing::tool {
void add_talk(CLI::App&, Common&) {}
}  // namespace underwing::tool
