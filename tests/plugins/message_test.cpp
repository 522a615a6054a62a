// Goal: what mail writes is what the standards of mail want, whatever the text holds. Method: values by hand
// from RFC 2045, 2047 and 5322; that a reader gets the text back is tested through a real server.
#include "plugins/mail/message.hpp"

#include <gtest/gtest.h>

#include <sstream>

namespace underwing {
namespace {

TEST(Message, TheSubjectIsTheFirstSentence) {
  EXPECT_EQ(subject_of("H1 COLD 28.6 C, wants 31 (day 2). Falling since 01:45. GO NOW."),
            "H1 COLD 28.6 C, wants 31 (day 2).");
  EXPECT_EQ(subject_of("Ready for the night\nAll probes live."), "Ready for the night");
  EXPECT_EQ(subject_of("a\tb\x07"
                       "c"),
            "a b c");
  EXPECT_EQ(subject_of(""), "");
}

TEST(Message, ALongSubjectEndsBetweenWords) {
  const std::string subject =
      subject_of("House seven of the farm beyond the river has been colder than it should be since midnight");
  EXPECT_EQ(subject, "House seven of the farm beyond the river has been colder than it…");
  const std::string accents = subject_of(std::string("é", 2) + std::string(100, 'x'));
  EXPECT_EQ(accents, "é" + std::string(68, 'x') + "…") << "70 characters, not bytes";
}

TEST(Message, HeadersArePlainWhereTheyCanBe) {
  EXPECT_EQ(header_text("H1 COLD 28.6 C"), "H1 COLD 28.6 C");
  EXPECT_EQ(header_text("Frio 28,6 °C"), "=?UTF-8?B?RnJpbyAyOCw2IMKwQw==?=");
}

TEST(Message, EncodedWordsAreShortAndWhole) {
  std::string text;
  for (int i = 0; i < 60; ++i) text += "é";
  std::istringstream lines(header_text(text));
  std::string line;
  int count = 0;
  for (; std::getline(lines, line); ++count) {
    if (line.ends_with('\r')) line.pop_back();
    if (count > 0) {
      ASSERT_EQ(line.substr(0, 1), " ");
      line.erase(0, 1);
    }
    EXPECT_LE(line.size(), 75U);
    // 38 bytes are 19 whole characters; 39 would cut one in two.
    EXPECT_NE(line.find("w6nDqcOp"), std::string::npos) << line;
  }
  EXPECT_EQ(count, 4);
}

TEST(Message, QuotedPrintableKeepsToItsLines) {
  EXPECT_EQ(quoted_printable("1 = 1\nends in a space \né"), "1 =3D 1\r\nends in a space=20\r\n=C3=A9");
  const std::string text = quoted_printable(std::string(77, 'x'));
  EXPECT_EQ(text, std::string(75, 'x') + "=\r\nxx");
  EXPECT_EQ(quoted_printable(std::string(76, 'x')), std::string(76, 'x'));
  // An escape is never cut in two.
  EXPECT_EQ(quoted_printable(std::string(74, 'x') + "=" + "y"), std::string(74, 'x') + "=\r\n=3Dy");
}

TEST(Message, TheSameDeliveryHasTheSameName) {
  Delivery delivery{"d-000017", "ines@example.org", "mail", "H1 COLD", "ines", "urgent"};
  const std::string name = message_id(delivery, "farm@example.org");
  EXPECT_EQ(message_id(delivery, "farm@example.org"), name);
  EXPECT_TRUE(name.starts_with("<") && name.ends_with("@example.org>")) << name;
  delivery.id = "d-000018";
  EXPECT_NE(message_id(delivery, "farm@example.org"), name);
}

TEST(Message, DatesAreThoseOfMail) {
  const Delivery delivery{"d-1", "ines@example.org", "mail", "H1 COLD", "ines", "note"};
  const std::string mail = mail_text(delivery, {"farm@example.org", "", ""}, 1772443800);
  EXPECT_TRUE(mail.starts_with(
      "Date: Mon, 02 Mar 2026 09:30:00 +0000\r\nFrom: farm@example.org\r\nTo: ines@example.org\r\n"))
      << mail;
  EXPECT_EQ(mail.find("Importance"), std::string::npos);
}

TEST(Message, AddressesThatServersTake) {
  EXPECT_EQ(address_trouble("ines@example.org"), "");
  EXPECT_EQ(address_trouble("i.n+farm@mail.example.org"), "");
  EXPECT_EQ(address_trouble("+44 7700 900101"), "is no mail address");
  EXPECT_EQ(address_trouble("ines@example.org\r\nRCPT TO:<x@y>"),
            "is no mail address that every server takes");
  EXPECT_EQ(address_trouble("@example.org"), "is no mail address that every server takes");
}

}  // namespace
}  // namespace underwing
