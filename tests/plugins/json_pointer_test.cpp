// Goal: pointers find what RFC 6901 says. Method: all examples of its section 5, and the mistakes it names.
#include "plugins/mqtt/json_pointer.hpp"

#include <gtest/gtest.h>

namespace underwing {
namespace {

// The document of RFC 6901, section 5.
constexpr std::string_view kDocument = R"({
   "foo": ["bar", "baz"],
   "": 0,
   "a/b": 1,
   "c%d": 2,
   "e^f": 3,
   "g|h": 4,
   "i\\j": 5,
   "k\"l": 6,
   " ": 7,
   "m~n": 8
})";

std::string found(std::string_view pointer_text, std::string_view document_text = kDocument) {
  simdjson::dom::parser parser;
  const simdjson::dom::element document = parser.parse(document_text.data(), document_text.size());
  const auto pointer = JsonPointer::parse(pointer_text);
  if (!pointer) return "no pointer";
  const auto element = pointer->find(document);
  return element ? std::string(simdjson::minify(*element)) : "nothing";
}

TEST(JsonPointer, FindsTheExamplesOfRfc6901) {
  EXPECT_EQ(found(""),
            R"({"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8})");
  EXPECT_EQ(found("/foo"), R"(["bar","baz"])");
  EXPECT_EQ(found("/foo/0"), R"("bar")");
  EXPECT_EQ(found("/"), "0");
  EXPECT_EQ(found("/a~1b"), "1");
  EXPECT_EQ(found("/c%d"), "2");
  EXPECT_EQ(found("/e^f"), "3");
  EXPECT_EQ(found("/g|h"), "4");
  EXPECT_EQ(found("/i\\j"), "5");
  EXPECT_EQ(found("/k\"l"), "6");
  EXPECT_EQ(found("/ "), "7");
  EXPECT_EQ(found("/m~0n"), "8");
}

TEST(JsonPointer, ReadsTilde01AsTilde1) {
  EXPECT_EQ(found("/~01", R"({"~1":3,"/":4})"), "3");
}

TEST(JsonPointer, RefusesWhatIsNone) {
  for (const char* text : {"foo", "0", "#/foo", "/a~", "/a~2b", "/~/x"})
    EXPECT_EQ(found(text), "no pointer") << text;
}

TEST(JsonPointer, FindsNothingWhereThereIsNothing) {
  for (const char* text : {"/bar", "/foo/2", "/foo/-", "/foo/01", "/foo/+1", "/foo/x", "/foo/0/x", "/foo/",
                           "/foo/99999999999999999999"}) {
    EXPECT_EQ(found(text), "nothing") << text;
  }
}

}  // namespace
}  // namespace underwing
