#include "daemon/tool/tool.hpp"
namespace underwing::tool {
void add_explain(CLI::App&, Common&) {}
}  // namespace underwing::tool
