// Things that are no ordinary file, that cannot be read, that lead in circles; and far too many.
#include <gtest/gtest.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include <algorithm>
#include <fstream>

#include "stage.h"

namespace kilter {
namespace {

namespace fs = std::filesystem;
using test::align;
using test::batch;
using test::conform;
using test::HostileCase;
using test::HostileRun;
using test::Stage;
using test::survey;

void put_socket(const fs::path& file) {
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  const std::string name = file.string();
  ASSERT_LT(name.size(), sizeof address.sun_path);
  std::copy(name.begin(), name.end(), address.sun_path);
  const int socket = ::socket(AF_UNIX, SOCK_STREAM, 0);
  ASSERT_EQ(::bind(socket, reinterpret_cast<sockaddr*>(&address), sizeof address), 0);
  ::close(socket);
}

/// "z.wav" beside a sound session: it is left out, and the session as good as without it.
HostileCase in_the_folder(const char* name, const std::function<void(const fs::path&)>& put,
                          const std::string& says) {
  return {name,
          [=](Stage& stage) {
            stage.talk();
            put(stage.show() / "z.wav");
          },
          {survey({1}, says), align({1}, "All 3 tracks are firm"), conform({1}, says),
           batch({1}, "1 needs a person")}};
}

/// "z.wav", told by its name: as a track, as the mix, as the whole session.
HostileCase by_name(const char* name, const std::function<void(const fs::path&)>& put,
                    const std::string& says) {
  const std::string z = "shows/hour/z.wav";
  return {name,
          [=](Stage& stage) {
            stage.talk();
            put(stage.show() / "z.wav");
          },
          {{{"survey", z}, {2, 3}, says},
           {{"align", "shows/hour/mixdown.wav", "shows/hour/keeper.wav", z, "--lineup", "out.json"},
            {1, 2},
            says},
           {{"align", "shows/hour", "--mix", z, "--lineup", "out-2.json"}, {2, 3}, says},
           {{"conform", "shows/hour", "--lineup", z, "--out", "out"}, {2, 3}, ""},
           {{"conform", "shows/hour", "--cuts", z, "--out", "out"}, {2, 3}, ""},
           {{"check", z}, {2, 3}, ""}}};
}

const auto kPipe = [](const fs::path& file) { ASSERT_EQ(::mkfifo(file.c_str(), 0600), 0); };
const auto kFolder = [](const fs::path& file) { fs::create_directory(file); };
const auto kDevice = [](const fs::path& file) { fs::create_symlink("/dev/zero", file); };
const auto kLoop = [](const fs::path& file) { fs::create_symlink("z.wav", file); };
const auto kNowhere = [](const fs::path& file) { fs::create_symlink("gone", file); };

std::vector<HostileCase> left_out() {
  return {
      in_the_folder("APipe", kPipe, "(no ordinary file)"),
      in_the_folder("ASocket", put_socket, "(no ordinary file)"),
      in_the_folder("ADeviceByALink", kDevice, "(a link that leads out of the folder"),
      in_the_folder("ALinkToItself", kLoop, "(a link that leads out of the folder"),
      in_the_folder("ALinkToNothing", kNowhere, "(a link that leads out of the folder"),
      in_the_folder(
          "ALinkToTheSystem", [](const fs::path& file) { fs::create_symlink("/etc/passwd", file); },
          "(a link that leads out of the folder"),
      {"AFolderNamedLikeSound",
       [](Stage& stage) {
         stage.talk();
         fs::create_directory(stage.show() / "z.wav");
       },
       {survey({0}, ""), align({0}, "All 3 tracks are firm")}},
      {"ALinkToItsOwnFolder",
       [](Stage& stage) {
         stage.talk();
         fs::create_directory_symlink(".", stage.show() / "loop");
         fs::create_directory_symlink("..", stage.show() / "up");
         fs::create_directory_symlink("/", stage.show() / "root");
       },
       {survey({0}, ""), align({0}, "All 3 tracks are firm"), batch({0}, "1 session: 1 done")}},
      {"ALinkWithinTheFolder",
       [](Stage& stage) {
         stage.talk();
         fs::create_symlink("keeper.wav", stage.show() / "z.wav");
         stage.belongs("z", stage.truth().at("keeper"));
       },
       {align({0}, "All 4 tracks are firm")}},
  };
}

std::vector<HostileCase> told_by_name() {
  return {by_name("APipe", kPipe, "it is not an ordinary file"),
          by_name("ASocket", put_socket, "it is not an ordinary file"),
          by_name("ADeviceByALink", kDevice, "it is not an ordinary file"),
          by_name("AFolder", kFolder, ""),
          by_name("ALinkToItself", kLoop, ""),
          by_name("ALinkToNothing", kNowhere, "no such file")};
}

std::vector<HostileCase> forbidden() {
  const auto no_rights = fs::perms::none;
  return {
      {"AFile",
       [=](Stage& stage) {
         stage.talk();
         stage.talk_as(0, "z.wav", "z");
         fs::permissions(stage.show() / "z.wav", no_rights);
       },
       {survey({1}, "it cannot be opened (Permission denied)"),
        align({1}, "it cannot be opened (Permission denied)"), conform({1}, "3 of 4 tracks firm")},
       true},
      {"TheMix",
       [=](Stage& stage) {
         stage.talk();
         fs::permissions(stage.show() / "mixdown.wav", no_rights);
       },
       {survey({1, 3}, "Permission denied"), align({3}, "Permission denied"),
        conform({3}, "Permission denied"), batch({1}, "1 failed")},
       true},
      {"SessionToml",
       [=](Stage& stage) {
         stage.talk();
         stage.text("session.toml", "title = \"hour\"\n");
         fs::permissions(stage.show() / "session.toml", no_rights);
       },
       {survey({3}, "Permission denied"), align({3}, "Permission denied")},
       true},
      {"ToWriteResults",
       [=](Stage& stage) {
         stage.talk();
         fs::create_directory(stage / "closed");
         fs::permissions(stage / "closed", fs::perms::owner_read | fs::perms::owner_exec);
       },
       {{{"align", "shows/hour", "--lineup", "closed/l.json"}, {4}, "Permission denied"},
        {{"conform", "shows/hour", "--out", "closed/out"}, {4}, "Permission denied"},
        {{"batch", "shows", "--out", "closed/out"}, {4}, "Permission denied"},
        {{"survey", "shows/hour", "--html", "closed/s.html"}, {4}, "Permission denied"}},
       true},
      {"ToKeepWhatIsNeededMeanwhile",
       [=](Stage& stage) {
         stage.talk();
         fs::permissions(stage / "scratch", fs::perms::owner_read | fs::perms::owner_exec);
       },
       {align({4}, "Permission denied"), conform({4}, "Permission denied"),
        survey({0}, "the mix is \"mixdown.wav\"")},  // which needs none
       true},
      {"ToReadOneOfManySessions",
       [=](Stage& stage) {
         stage.talk();
         fs::create_directory(stage / "shows/closed");
         stage.talk_as(0, "../closed/keeper.wav", "keeper");
         stage.talk_as(0, "../closed/mixdown.wav", "mixdown");
         fs::permissions(stage / "shows/closed", no_rights);
       },
       {batch({0, 1}, "closed")},
       true},
  };
}

std::vector<HostileCase> too_many() {
  return {
      {"TextsBesideASession",
       [](Stage& stage) {
         stage.talk();
         for (int i = 0; i < 10000; ++i) stage.text("note-" + std::to_string(i) + ".txt", "hello");
       },
       {survey({0}, ""), align({0}, "All 3 tracks are firm"), batch({0}, "1 session: 1 done")}},
      {"FilesOfSound",
       [](Stage& stage) {
         stage.talk();
         const auto noise = test::noise(1600, 0.3F, 1);
         stage.sound("z-0.wav", noise);
         const std::string bytes = test::read_text(stage.show() / "z-0.wav");
         for (int i = 1; i < 10000; ++i) stage.text("z-" + std::to_string(i) + ".wav", bytes);
       },
       {survey({3}, "audio files, more than any session"),
        align({3}, "audio files, more than any session"),
        batch({1}, "audio files, more than any session")}},
      {"FoldersWithinFolders",
       [](Stage& stage) {
         stage.talk();
         fs::path deep = stage / "shows";
         for (int i = 0; i < 900; ++i) deep /= "d";
         fs::create_directories(deep);
         fs::rename(stage.show(), deep / "hour");
       },
       {batch({0, 1}, "1 session: 1 done")}},
  };
}

KILTER_HOSTILE_TABLE(WhatIsNoFile, IsLeftOutAndTold, left_out());
KILTER_HOSTILE_TABLE(WhatIsNoFileByName, IsRefused, told_by_name());
KILTER_HOSTILE_TABLE(WhatMayNotBeTouched, IsTold, forbidden());
KILTER_HOSTILE_TABLE(TooMany, AreBorne, too_many());

}  // namespace
}  // namespace kilter
