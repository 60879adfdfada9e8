#include "kilter/session/session_draft.h"

#include <gtest/gtest.h>

#include "kilter/session/session.h"
#include "support/temporary_folder.h"

namespace kilter::session {
namespace {

TEST(SessionDraft, IsReadBackAsItWasMeant) {
  test::TemporaryFolder folder;
  const std::vector<std::string> names{"desk 1.wav",
                                       "desk 2.wav",
                                       "o'clock \"x\" \\y.wav",
                                       "new\nline\ttab.wav",
                                       "\xC3\xA9t\xC3\xA9 \xF0\x9F\x8C\x8A.wav",
                                       "show.mp3"};
  for (const std::string& name : names) test::write_text(folder / name, "x");
  Draft draft{"Hour 12 \"late\"", "", "show.mp3", {}};
  draft.tracks.push_back({"keeper", {"desk 1.wav", "desk 2.wav"}, 3, "WAV, level\nlow"});
  for (std::size_t i = 2; i < 5; ++i) draft.tracks.push_back({names[i], {names[i]}, 0, ""});
  test::write_text(folder / "session.toml", session_text(draft));
  const auto session = open_session({folder.path()}, {});
  ASSERT_TRUE(session) << session.error().what << '\n' << session_text(draft);
  EXPECT_EQ(session->name, draft.title);
  EXPECT_EQ(session->files[session->mix.value()].name, "show.mp3");
  ASSERT_EQ(session->declared.size(), 4U);
  EXPECT_EQ(session->declared[0].channel, 3);
  EXPECT_EQ(session->files[session->declared[0].file].later_parts[0].name, "desk 2.wav");
  for (std::size_t i = 1; i < 4; ++i) {
    EXPECT_EQ(session->declared[i].name, names[i + 1]);
    EXPECT_EQ(session->files[session->declared[i].file].name, names[i + 1]);
  }
}

TEST(SessionDraft, LeavesOutNamesThatTomlCannotHold) {
  test::TemporaryFolder folder;
  test::write_text(folder / "a.wav", "x");
  Draft draft{"show", "", "", {{"a", {"a.wav"}, 0, "\xFF"}, {"\xFF", {"\xFF.wav"}, 0, ""}}};
  test::write_text(folder / "session.toml", session_text(draft));
  const auto session = open_session({folder.path()}, {});
  ASSERT_TRUE(session) << session.error().what << '\n' << session_text(draft);
  EXPECT_EQ(session->declared.size(), 1U);
}

TEST(SessionDraft, NamesTheFolderWhereItLiesElsewhere) {
  test::TemporaryFolder folder;
  test::TemporaryFolder elsewhere;
  test::write_text(folder / "a.wav", "x");
  Draft draft{"show", folder.path().string(), "", {{"a", {"a.wav"}, 0, ""}}};
  test::write_text(elsewhere / "show.toml", session_text(draft));
  const auto session = open_session({elsewhere / "show.toml"}, {});
  ASSERT_TRUE(session) << session.error().what;
  EXPECT_EQ(session->declared.size(), 1U);
}

}  // namespace
}  // namespace kilter::session
