// What a written file tells about itself, read back by other means.
#include <gtest/gtest.h>
#include <sndfile.h>

#include <array>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <vector>

#include "kilter/media/audio_writer.h"
#include "riff_reader.h"
#include "support/temporary_folder.h"

namespace kilter::media {
namespace {

namespace fs = std::filesystem;
using test::number_at;
using test::RiffFile;
using test::text_at;

constexpr std::int64_t kReference = (std::int64_t{1} << 32) + 172800000;  // beyond 32 bits
constexpr std::int64_t kFrames = 96000;

BroadcastNotes full_notes() {
  BroadcastNotes notes;
  notes.description = "Lighthouse Hour 12: Zoë";
  notes.originator = "kilter";
  notes.originator_reference = "NLABC0123456789AB215800123456789";  // all of its 32
  notes.origination_date = "2026-11-24";
  notes.origination_time = "21:58:00";
  notes.time_reference = {kReference};
  notes.coding_history =
      "A=PCM,F=48000,W=24,M=mono,T=recorder\nA=PCM,F=96000,W=24,M=stereo,T=kilter";
  notes.project = "Lighthouse & \"Hour\" <12>";
  notes.timecode_rate = TimecodeRate{30000, 1001, true};
  notes.track_names = {"Zoë", "keeper"};
  notes.note = "from mixdown.flac\nwithout the fog horn";
  notes.cues = {{{48000}, "the lamp"}, {{0}, "Zoë"}, {{kFrames}, ""}};
  return notes;
}

WriterOptions stereo_24(Container container) {
  WriterOptions options;
  options.rate = {96000.0};
  options.channels = 2;
  options.container = container;
  options.notes = full_notes();
  return options;
}

std::int64_t write_frames(const fs::path& file, const WriterOptions& options,
                          std::int64_t frames = kFrames) {
  const std::vector<float> sound(static_cast<std::size_t>(frames * options.channels), 0.25F);
  auto writer = AudioWriter::create(file, options);
  EXPECT_TRUE(writer);
  EXPECT_TRUE(writer->write(sound));
  EXPECT_TRUE(writer->finish());
  return writer->cues_left_out();
}

class Notes : public testing::TestWithParam<Container> {
 protected:
  RiffFile written(const WriterOptions& options) {
    write_frames(file, options);
    RiffFile riff = test::read_riff(file);
    EXPECT_TRUE(riff.ends_at_its_size);
    return riff;
  }
  const test::TemporaryFolder folder;
  const fs::path file{folder / "keeper.wav"};
};

INSTANTIATE_TEST_SUITE_P(All, Notes, testing::Values(Container::wav, Container::rf64),
                         [](const auto& each) {
                           return each.param == Container::wav ? "Wav" : "Rf64";
                         });

TEST_P(Notes, LieAroundTheSoundInEvenChunks) {
  const RiffFile riff = written(stereo_24(GetParam()));
  EXPECT_EQ(riff.form, GetParam() == Container::wav ? "RIFF" : "RF64");
  EXPECT_EQ(riff.ids(), (std::vector<std::string>{"fmt ", "bext", "iXML", "data", "cue ", "LIST"}));
  for (const auto& chunk : riff.chunks) EXPECT_EQ(chunk.size % 2, 0U) << chunk.id;
}

TEST_P(Notes, WithoutThemThereIsNoChunkBesideTheSound) {
  WriterOptions options = stereo_24(GetParam());
  options.notes.reset();
  EXPECT_EQ(written(options).ids(), (std::vector<std::string>{"fmt ", "data"}));
}

TEST_P(Notes, FillEveryFieldOfBext) {
  const std::string bext = written(stereo_24(GetParam())).bytes_of("bext");
  ASSERT_GE(bext.size(), 602U);
  EXPECT_EQ(text_at(bext, 0, 256), "Lighthouse Hour 12: Zoe");
  EXPECT_EQ(bext.substr(23, 233), std::string(233, '\0'));
  EXPECT_EQ(text_at(bext, 256, 32), "kilter");
  EXPECT_EQ(text_at(bext, 288, 32), "NLABC0123456789AB215800123456789");
  EXPECT_EQ(text_at(bext, 320, 10), "2026-11-24");
  EXPECT_EQ(text_at(bext, 330, 8), "21:58:00");
  EXPECT_EQ(number_at(bext, 338, 4), 172800000U);
  EXPECT_EQ(number_at(bext, 342, 4), 1U);
  EXPECT_EQ(number_at(bext, 346, 2), 2U);
  EXPECT_EQ(bext.substr(348, 64), std::string(64, '\0'));
  for (std::size_t loudness = 412; loudness < 422; loudness += 2)
    EXPECT_EQ(number_at(bext, loudness, 2), 0x7FFFU) << loudness;
  EXPECT_EQ(bext.substr(422, 180), std::string(180, '\0'));
  EXPECT_EQ(text_at(bext, 602, bext.size()),
            "A=PCM,F=48000,W=24,M=mono,T=recorder\r\n"
            "A=PCM,F=96000,W=24,M=stereo,T=kilter\r\n");
}

TEST_P(Notes, CutWhatIsTooLongForBext) {
  WriterOptions options = stereo_24(GetParam());
  options.notes->description = std::string(255, 'd') + "ßs";
  options.notes->originator = std::string(40, 'o');
  const std::string bext = written(options).bytes_of("bext");
  EXPECT_EQ(text_at(bext, 0, 256), std::string(255, 'd') + "s");
  EXPECT_EQ(text_at(bext, 256, 32), std::string(32, 'o'));
  EXPECT_EQ(text_at(bext, 288, 32), "NLABC0123456789AB215800123456789");
}

TEST_P(Notes, MayBeEmpty) {
  WriterOptions options = stereo_24(GetParam());
  options.notes = BroadcastNotes{};
  const RiffFile riff = written(options);
  EXPECT_EQ(riff.ids(), (std::vector<std::string>{"fmt ", "bext", "iXML", "data"}));
  const std::string bext = riff.bytes_of("bext");
  ASSERT_EQ(bext.size(), 602U);
  EXPECT_EQ(bext.substr(0, 346), std::string(346, '\0'));
}

/// What stands in the first `name` of `xml` at or behind `from`.
std::string element(const std::string& xml, const std::string& name, std::size_t from = 0) {
  const std::size_t start = xml.find('<' + name + '>', from);
  const std::size_t end = xml.find("</" + name + '>', from);
  if (start == std::string::npos || end == std::string::npos) return "(none)";
  return xml.substr(start + name.size() + 2, end - start - name.size() - 2);
}

/// Whether each element that starts ends, in order, in one root.
bool is_nested(const std::string& xml) {
  std::vector<std::string> open;
  int roots = 0;
  for (std::size_t at = xml.find('<'); at != std::string::npos; at = xml.find('<', at + 1)) {
    const std::string tag = xml.substr(at + 1, xml.find('>', at) - at - 1);
    if (tag.front() == '?') continue;
    if (tag.front() != '/') {
      roots += open.empty() ? 1 : 0;
      open.push_back(tag);
    } else if (open.empty() || open.back() != tag.substr(1)) {
      return false;
    } else {
      open.pop_back();
    }
  }
  return open.empty() && roots == 1;
}

TEST_P(Notes, FillEveryFieldOfIxml) {
  const std::string xml = written(stereo_24(GetParam())).bytes_of("iXML");
  EXPECT_EQ(xml.size() % 4, 0U);
  EXPECT_EQ(xml.find('\0'), std::string::npos);
  EXPECT_EQ(xml.find("<?xml version=\"1.0\" encoding=\"UTF-8\"?>"), 0U);
  EXPECT_TRUE(is_nested(xml));
  const std::string root = element(xml, "BWFXML");
  EXPECT_EQ(element(root, "IXML_VERSION"), "1.61");
  EXPECT_EQ(element(root, "PROJECT"), "Lighthouse &amp; \"Hour\" &lt;12&gt;");
  EXPECT_EQ(element(root, "NOTE"), "from mixdown.flac without the fog horn");
  const std::string speed = element(root, "SPEED");
  EXPECT_EQ(element(speed, "MASTER_SPEED"), "30000/1001");
  EXPECT_EQ(element(speed, "CURRENT_SPEED"), "30000/1001");
  EXPECT_EQ(element(speed, "TIMECODE_RATE"), "30000/1001");
  EXPECT_EQ(element(speed, "TIMECODE_FLAG"), "DF");
  EXPECT_EQ(element(speed, "FILE_SAMPLE_RATE"), "96000");
  EXPECT_EQ(element(speed, "AUDIO_BIT_DEPTH"), "24");
  EXPECT_EQ(element(speed, "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI"), "1");
  EXPECT_EQ(element(speed, "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO"), "172800000");
  EXPECT_EQ(element(speed, "TIMESTAMP_SAMPLE_RATE"), "96000");
  const std::string tracks = element(root, "TRACK_LIST");
  EXPECT_EQ(element(tracks, "TRACK_COUNT"), "2");
  EXPECT_EQ(element(tracks, "CHANNEL_INDEX"), "1");
  EXPECT_EQ(element(tracks, "INTERLEAVE_INDEX"), "1");
  EXPECT_EQ(element(tracks, "NAME"), "Zoë");
  const std::size_t second = tracks.find("</TRACK>") + 1;
  EXPECT_EQ(element(tracks, "CHANNEL_INDEX", second), "2");
  EXPECT_EQ(element(tracks, "INTERLEAVE_INDEX", second), "2");
  EXPECT_EQ(element(tracks, "NAME", second), "keeper");
}

TEST_P(Notes, IxmlSaysFloatAndNothingOfATimecodeThatNobodyGave) {
  WriterOptions options = stereo_24(GetParam());
  options.format = SampleFormat::float32;
  options.notes->timecode_rate.reset();
  options.notes->track_names.resize(1);
  const std::string xml = written(options).bytes_of("iXML");
  EXPECT_TRUE(is_nested(xml));
  EXPECT_EQ(element(xml, "AUDIO_BIT_DEPTH"), "32");
  EXPECT_EQ(element(xml, "TIMECODE_RATE"), "(none)");
  EXPECT_EQ(element(xml, "MASTER_SPEED"), "(none)");
  EXPECT_EQ(element(xml, "NAME", xml.find("</TRACK>") + 1), "");
}

/// The labels of an `adtl` list: cue number and text.
std::vector<std::pair<std::uint64_t, std::string>> labels_of(const std::string& list) {
  std::vector<std::pair<std::uint64_t, std::string>> labels;
  EXPECT_EQ(list.substr(0, 4), "adtl");
  std::size_t at = 4;
  while (at + 8 <= list.size()) {
    EXPECT_EQ(list.substr(at, 4), "labl");
    const auto size = static_cast<std::size_t>(number_at(list, at + 4, 4));
    const std::string text = list.substr(at + 12, size - 4);
    EXPECT_EQ(text.back(), '\0');
    labels.emplace_back(number_at(list, at + 8, 4), text_at(text, 0, text.size()));
    at += 8 + size + size % 2;
  }
  EXPECT_EQ(at, list.size());
  return labels;
}

TEST_P(Notes, HoldCuesInOrderWithTheirNames) {
  const RiffFile riff = written(stereo_24(GetParam()));
  const std::string cues = riff.bytes_of("cue ");
  const std::vector<std::uint64_t> places{0, 48000, kFrames};
  ASSERT_EQ(cues.size(), 4 + 24 * places.size());
  EXPECT_EQ(number_at(cues, 0, 4), places.size());
  for (std::size_t i = 0; i < places.size(); ++i) {
    const std::size_t point = 4 + 24 * i;
    EXPECT_EQ(number_at(cues, point, 4), i + 1);
    EXPECT_EQ(number_at(cues, point + 4, 4), places[i]);
    EXPECT_EQ(cues.substr(point + 8, 4), "data");
    EXPECT_EQ(number_at(cues, point + 12, 8), 0U);
    EXPECT_EQ(number_at(cues, point + 20, 4), places[i]);
  }
  const std::vector<std::pair<std::uint64_t, std::string>> expected{{1, "Zoë"}, {2, "the lamp"}};
  EXPECT_EQ(labels_of(riff.bytes_of("LIST")), expected);
}

TEST_P(Notes, LeaveOutAndCountCuesThatLieOutsideTheFile) {
  WriterOptions options = stereo_24(GetParam());
  options.notes->cues = {{{-1}, "before"},
                         {{500}, "inside"},
                         {{kFrames + 1}, "behind"},
                         {{std::int64_t{1} << 32}, "beyond 32 bits"}};
  EXPECT_EQ(write_frames(file, options), 3);
  const RiffFile riff = test::read_riff(file);
  EXPECT_TRUE(riff.ends_at_its_size);
  EXPECT_EQ(number_at(riff.bytes_of("cue "), 0, 4), 1U);
  EXPECT_EQ(labels_of(riff.bytes_of("LIST")).front().second, "inside");
}

TEST_P(Notes, NoLabelsWhereNoCueHasAText) {
  WriterOptions options = stereo_24(GetParam());
  options.notes->cues = {{{1}, ""}, {{2}, ""}};
  EXPECT_EQ(written(options).ids(),
            (std::vector<std::string>{"fmt ", "bext", "iXML", "data", "cue "}));
}

TEST_P(Notes, AreReadByLibsndfile) {
  write_frames(file, stereo_24(GetParam()));
  SF_INFO info{};
  SNDFILE* handle = sf_open(file.c_str(), SFM_READ, &info);
  ASSERT_NE(handle, nullptr);
  EXPECT_EQ(info.frames, kFrames);
  EXPECT_EQ(info.channels, 2);
  EXPECT_EQ(info.samplerate, 96000);
  SF_BROADCAST_INFO bext{};
  EXPECT_EQ(sf_command(handle, SFC_GET_BROADCAST_INFO, &bext, sizeof bext), SF_TRUE);
  EXPECT_STREQ(bext.description, "Lighthouse Hour 12: Zoe");
  EXPECT_EQ(bext.time_reference_high, 1U);
  EXPECT_EQ(bext.time_reference_low, 172800000U);
  EXPECT_EQ(bext.version, 2);
  EXPECT_EQ(bext.max_true_peak_level, 0x7FFF);
  EXPECT_EQ(std::string(bext.coding_history).rfind("A=PCM,F=48000,W=24,M=mono,T=recorder", 0), 0U);
  if (GetParam() == Container::wav) {  // of RF64 it reads no cues
    SF_CUES cues{};
    EXPECT_EQ(sf_command(handle, SFC_GET_CUE, &cues, sizeof cues), SF_TRUE);
    EXPECT_EQ(cues.cue_count, 3U);
    EXPECT_EQ(cues.cue_points[1].sample_offset, 48000U);
    EXPECT_STREQ(cues.cue_points[1].name, "the lamp");
  }
  SF_CHUNK_INFO wanted{};
  std::snprintf(wanted.id, sizeof wanted.id, "iXML");
  wanted.id_size = 4;
  EXPECT_NE(sf_get_chunk_iterator(handle, &wanted), nullptr);
  sf_close(handle);
}

// A long list before the sound keeps libsndfile from finding that.
TEST_P(Notes, TenThousandCuesKeepNobodyFromTheSound) {
  WriterOptions options = stereo_24(GetParam());
  for (int i = 0; i < 10000; ++i)
    options.notes->cues.push_back(
        {{i}, "a marker with a name of some length " + std::to_string(i)});
  write_frames(file, options);
  EXPECT_TRUE(test::read_riff(file).ends_at_its_size);
  SF_INFO info{};
  SNDFILE* handle = sf_open(file.c_str(), SFM_READ, &info);
  ASSERT_NE(handle, nullptr) << sf_strerror(nullptr);
  EXPECT_EQ(info.frames, kFrames);
  sf_close(handle);
}

TEST(NotesInFlac, AreVorbisComments) {
  const test::TemporaryFolder folder;
  EXPECT_EQ(write_frames(folder / "keeper.flac", stereo_24(Container::flac)), 3);
  SF_INFO info{};
  SNDFILE* handle = sf_open((folder / "keeper.flac").c_str(), SFM_READ, &info);
  ASSERT_NE(handle, nullptr);
  EXPECT_STREQ(sf_get_string(handle, SF_STR_TITLE), "Zoë, keeper");
  EXPECT_STREQ(sf_get_string(handle, SF_STR_ALBUM), "Lighthouse & \"Hour\" <12>");
  EXPECT_STREQ(sf_get_string(handle, SF_STR_COMMENT), "Lighthouse Hour 12: Zoë");
  EXPECT_STREQ(sf_get_string(handle, SF_STR_DATE), "2026-11-24");
  EXPECT_EQ(std::string(sf_get_string(handle, SF_STR_SOFTWARE)).rfind("kilter", 0), 0U);
  sf_close(handle);
}

/// What a command prints, or nothing where it fails.
std::string output_of(const std::string& command) {
  std::string output;
  FILE* pipe = popen((command + " 2>/dev/null").c_str(), "r");
  if (pipe == nullptr) return output;
  std::array<char, 4096> block;
  while (const std::size_t count = std::fread(block.data(), 1, block.size(), pipe))
    output.append(block.data(), count);
  return pclose(pipe) == 0 ? output : std::string();
}

bool holds(const std::string& text, const std::string& part) {
  return text.find(part) != std::string::npos;
}

TEST_P(Notes, AreReadByFfprobe) {
  if (output_of("ffprobe -version").empty()) GTEST_SKIP() << "ffprobe is not installed";
  write_frames(file, stereo_24(GetParam()));
  const std::string told =
      output_of("ffprobe -v error -show_format -show_streams -show_chapters -of flat '" +
                file.string() + "'");
  for (const char* line :
       {"streams.stream.0.codec_name=\"pcm_s24le\"", "streams.stream.0.channels=2",
        "streams.stream.0.sample_rate=\"96000\"", "format.duration=\"1.000000\"",
        // It has names of its own for some, which change with its version.
        "=\"Lighthouse Hour 12: Zoe\"", "=\"kilter\"",
        "format.tags.originator_reference=\"NLABC0123456789AB215800123456789\"", "=\"2026-11-24\"",
        "=\"21:58:00\"", "format.tags.time_reference=\"4467767296\"",
        "format.tags.coding_history=\"A=PCM,F=48000,W=24,M=mono,T=recorder",
        "chapters.chapter.0.start=0\n", "chapters.chapter.0.tags.title=\"Zoë\"",
        "chapters.chapter.1.start=48000\n", "chapters.chapter.1.tags.title=\"the lamp\""})
    EXPECT_TRUE(holds(told, line)) << line << "\n" << told;
}

TEST_P(Notes, DoNotDisturbSox) {
  if (output_of("sox --version").empty()) GTEST_SKIP() << "sox is not installed";
  write_frames(file, stereo_24(GetParam()));
  const std::string told = output_of("sox --i '" + file.string() + "'");
  for (const char* line : {"Channels       : 2", "Sample Rate    : 96000",
                           "Precision      : 24-bit", "= 96000 samples"})
    EXPECT_TRUE(holds(told, line)) << line << "\n" << told;
}

struct RefusedNotes {
  const char* name;
  void (*spoil)(BroadcastNotes& notes);
  const char* what;
};

class RefusedNotesTest : public testing::TestWithParam<RefusedNotes> {};

TEST_P(RefusedNotesTest, AreToldBeforeAnythingIsWritten) {
  for (const Container container : {Container::wav, Container::rf64, Container::flac}) {
    const test::TemporaryFolder folder;
    WriterOptions options = stereo_24(container);
    EXPECT_FALSE(refusal(options, folder / "a.wav"));
    GetParam().spoil(*options.notes);
    const auto told = refusal(options, folder / "a.wav");
    ASSERT_TRUE(told);
    EXPECT_EQ(told->kind, ErrorKind::cannot_write);
    EXPECT_EQ(told->file, folder / "a.wav");
    EXPECT_TRUE(holds(told->what, GetParam().what)) << told->what;
    EXPECT_FALSE(told->next_step.empty());
    EXPECT_FALSE(AudioWriter::create(folder / "a.wav", options));
    EXPECT_TRUE(fs::is_empty(folder.path()));
  }
}

INSTANTIATE_TEST_SUITE_P(
    All, RefusedNotesTest,
    testing::Values(
        RefusedNotes{"ADateOfAnotherForm",
                     [](BroadcastNotes& notes) { notes.origination_date = "24.11.2026"; },
                     "yyyy-mm-dd"},
        RefusedNotes{"ATimeOfAnotherForm",
                     [](BroadcastNotes& notes) { notes.origination_time = "21:58"; }, "hh:mm:ss"},
        RefusedNotes{"AStartBeforeMidnight",
                     [](BroadcastNotes& notes) { notes.time_reference = {-1}; }, "midnight"},
        RefusedNotes{"NoTimecodeRate",
                     [](BroadcastNotes& notes) {
                       notes.timecode_rate = TimecodeRate{25, 0};
                     },
                     "timecode rate"},
        RefusedNotes{"AHistoryThatReadersDoNotTake",
                     [](BroadcastNotes& notes) { notes.coding_history = std::string(9637, 'h'); },
                     "coding history"}),
    [](const auto& each) { return each.param.name; });

TEST_P(Notes, TheLongestHistoryIsStillRead) {
  WriterOptions options = stereo_24(GetParam());
  options.notes->coding_history = std::string(9636, 'h');
  write_frames(file, options);
  SF_INFO info{};
  SNDFILE* handle = sf_open(file.c_str(), SFM_READ, &info);
  ASSERT_NE(handle, nullptr);
  SF_BROADCAST_INFO_VAR(10240) bext{};
  EXPECT_EQ(sf_command(handle, SFC_GET_BROADCAST_INFO, &bext, sizeof bext), SF_TRUE);
  EXPECT_EQ(bext.coding_history_size, 9638U);
  sf_close(handle);
}

}  // namespace
}  // namespace kilter::media
