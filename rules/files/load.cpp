#include "rules/files/load.hpp"

#include "rules/files/farm_loader.hpp"

namespace underwing {

Loaded load_farm(const FarmFiles& files, const ZoneSource& zones) {
  return FarmLoader(files, zones).run();
}

std::vector<Issue> check_file(const std::string& path, const std::string& text, const ZoneSource& zones) {
  IssueLog log;
  const Source source(path, text);
  const YamlNode root = read_yaml(source, log);
  if (root.kind == YamlNode::Kind::wrong) return log.take();
  if (root.find("pack") != nullptr) {
    const PackDraft pack = read_pack(root, log);
    const std::vector<Measure> measures = read_measures({&pack}, log);
    judge_alone(pack, measures, log);
  } else if (root.find("flock") != nullptr) {
    Zone unknown;
    unknown.name.clear();
    (void)read_flock(root, unknown, log);
  } else if (root.find("farm") != nullptr) {
    (void)read_farm(root, zones, log);
  } else if (root.find("language") != nullptr) {
    (void)read_language(root, log);
  } else {
    report(log, root,
           "this file has none of the keys 'farm', 'flock', 'pack' and 'language', which say what it describes");
  }
  return log.take();
}

}  // namespace underwing
