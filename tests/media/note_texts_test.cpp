#include "note_texts.h"

#include <gtest/gtest.h>

namespace kilter::media {
namespace {

struct TextCase {
  const char* name;
  const char* text;
  const char* one_line;
  const char* ascii;
};

class NoteText : public testing::TestWithParam<TextCase> {};

TEST_P(NoteText, BecomesHarmless) {
  EXPECT_EQ(one_line(GetParam().text), GetParam().one_line);
  EXPECT_EQ(ascii_line(GetParam().text), GetParam().ascii);
}

INSTANTIATE_TEST_SUITE_P(
    All, NoteText,
    testing::Values(
        TextCase{"Nothing", "", "", ""},
        TextCase{"PlainStays", "Fog & <lamp> \"3\"", "Fog & <lamp> \"3\"", "Fog & <lamp> \"3\""},
        TextCase{"AccentsGo", "Zoë Čapek, Łódź", "Zoë Čapek, Łódź", "Zoe Capek, Lodz"},
        TextCase{"CapitalsStayCapitals", "ÀÉÎÕÜÝŽŸ", "ÀÉÎÕÜÝŽŸ", "AEIOUYZY"},
        TextCase{"CombiningAccentsGo", "Zoe\u0308", "Zoe\u0308", "Zoe"},
        TextCase{"LigaturesAreSpeltOut", "Æther œuvre Straße ĳ", "Æther œuvre Straße ĳ",
                 "AEther oeuvre Strasse ij"},
        TextCase{"TheTablesEnds", "Àſƀ¿", "Àſƀ¿", "As??"},
        TextCase{"TypographyIsPlain", "“Fog”—it’s…", "“Fog”—it’s…", "\"Fog\"-it's..."},
        TextCase{"OtherScriptsAreQuestions", "灯台🗼", "灯台🗼", "???"},
        TextCase{"ControlsAreBlanks", "a\tb\nc\x01\x7F\u0085z", "a b c   z", "a b c   z"},
        TextCase{"BrokenBytesAreReplaced", "a\xFFz\xC3", "a\uFFFDz\uFFFD", "a?z?"},
        TextCase{"WhatXmlMayNotHoldIsReplaced", "a\uFFFE\uFFFFz", "a\uFFFD\uFFFDz", "a??z"}),
    [](const auto& each) { return each.param.name; });

TEST(NoteLines, EndWithCarriageReturnAndLineFeed) {
  EXPECT_EQ(ascii_lines(""), "");
  EXPECT_EQ(ascii_lines("one"), "one\r\n");
  EXPECT_EQ(ascii_lines("one\ntwo\r\nthree\rfoür\n\n\x01"), "one\r\ntwo\r\nthree\r\nfour\r\n \r\n");
}

TEST(XmlText, EscapesMarkupAndKeepsLetters) {
  EXPECT_EQ(xml_text("Zoë <b> & \"c\" ]]>\x02"), "Zoë &lt;b&gt; &amp; \"c\" ]]&gt; ");
}

}  // namespace
}  // namespace kilter::media
