#pragma once

#include <simdjson.h>

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace underwing {

/// A JSON Pointer (RFC 6901): "" is the whole document, "/a/0" the first entry of `a`, "~1" stands for "/"
/// and "~0" for "~" in a key.
class JsonPointer {
 public:
  /// nullopt where `text` is no pointer: it must be empty or begin with "/", and after "~" comes 0 or 1.
  [[nodiscard]] static std::optional<JsonPointer> parse(std::string_view text);

  /// What it points at; nullopt where there is nothing. The result lives as long as the parsed document.
  [[nodiscard]] std::optional<simdjson::dom::element> find(simdjson::dom::element document) const;

 private:
  std::vector<std::string> tokens_;
};

}  // namespace underwing
