// kilter-simulate: writes a session whose truth is known.
#include <CLI/CLI.hpp>
#include <cstdio>
#include <memory>

#include "folder_voices.h"
#include "kilter/base/parallel.h"
#include "session_files.h"
#include "simulator.h"
#include "stream_time.h"

namespace {

using namespace kilter;
using namespace kilter::simulator;

constexpr double kLongestExcursion_s = 0.06;

struct Request {
  std::string out;
  std::string truth;
  std::string voices;
  std::uint64_t seed{1};
  double minutes{5.0};
  int room{3};
  int remote{2};
  double room_rate_hz{48000.0};
  std::vector<double> remote_rates_hz{44100.0, 48000.0};
  std::vector<double> bleed_db{-22.0, -14.0};
  double talk{0.85};
  double level_db{-23.0};
  double noise_db{-78.0};
  double spread_s{0.0};
  Mix mix;
  Coding stream;
  double excursions_per_minute{0.0};
  Coding stored;
  FileOptions files;
  int threads{available_threads()};
};

void add_codec(CLI::App& app, const std::string& name, const std::string& what, Coding& coding) {
  const std::map<std::string, Codec> codecs{
      {"none", Codec::none}, {"opus", Codec::opus}, {"vorbis", Codec::vorbis}, {"mp3", Codec::mp3}};
  app.add_option("--" + name + "-codec", coding.codec, what + ": none|opus|vorbis|mp3 [none]")
      ->transform(CLI::CheckedTransformer(codecs))
      ->option_text("CODEC");
  app.add_option("--" + name + "-kbps", coding.kbps, "its bit rate [64]")->option_text("KBIT/S");
}

void add_session_options(CLI::App& app, Request& request) {
  app.add_option("--seed", request.seed, "every seed is another session [1]")->option_text("N");
  app.add_option("--minutes", request.minutes, "length of the mix [5]")
      ->check(CLI::PositiveNumber)
      ->option_text("M");
  app.add_option("--room", request.room, "people in the room, on one recorder [3]")
      ->check(CLI::Range(0, 16))
      ->option_text("N");
  app.add_option("--remote", request.remote, "guests, each on a recorder of his own [2]")
      ->check(CLI::Range(0, 16))
      ->option_text("N");
  app.add_option("--room-rate", request.room_rate_hz, "the room recorder's sample rate [48000]")
      ->option_text("HZ");
  app.add_option("--remote-rates", request.remote_rates_hz,
                 "the guests' sample rates, taken in turn [44100 48000]")
      ->expected(1, 16)
      ->option_text("HZ...");
  app.add_option("--bleed", request.bleed_db,
                 "how loud the room's people are in each other's microphones [-22 -14]")
      ->expected(2)
      ->option_text("DB DB");
  app.add_option("--talk", request.talk, "part of the time that somebody speaks [0.85]")
      ->check(CLI::Range(0.0, 1.0))
      ->option_text("PART");
  app.add_option("--level", request.level_db, "mean level of speech in the recordings [-23]")
      ->option_text("DB");
  app.add_option("--noise", request.noise_db, "the microphones' noise, under full scale [-78]")
      ->option_text("DB");
  app.add_option("--spread", request.spread_s,
                 "starts lie up to this long before the mix's [0: within 20 s of it]")
      ->check(CLI::Range(0.0, 3600.0))
      ->option_text("S");
  app.add_option("--voices", request.voices,
                 "a folder of speech, a folder in it per speaker [voices made by rule]")
      ->option_text("DIR");
}

void add_mix_options(CLI::App& app, Request& request) {
  app.add_option("--mix-rate", request.mix.rate_hz, "[48000]")->option_text("HZ");
  app.add_option("--mix-peak", request.mix.peak_db, "the mix's highest sample [-2]")
      ->option_text("DB");
  app.add_option("--gain-riding", request.mix.gain_riding_db,
                 "slow random gain of each track in the mix, within +- this [0]")
      ->option_text("DB");
  app.add_option("--duck", request.mix.duck_db,
                 "gain in the mix of people who are silent, 0 or below [0]")
      ->option_text("DB");
  app.add_flag("--bus-filters", request.mix.bus_filters,
               "a high-pass and a gentle presence shelf on the mix");
  add_codec(app, "mix", "the mix", request.mix.coding);
  add_codec(app, "stream", "the guests' way into the mix", request.stream);
  add_codec(app, "stored", "the recordings", request.stored);
  app.add_option("--stream-excursions", request.excursions_per_minute,
                 "so often a minute a guest's stream is held back, 2.5 to 60 ms, for seconds [0]")
      ->check(CLI::Range(0.0, 10.0))
      ->option_text("N");
}

void add_output_options(CLI::App& app, Request& request) {
  app.add_option("--out", request.out, "the folder to write into; made when missing")
      ->required()
      ->option_text("DIR");
  app.add_option("--truth", request.truth, "where to write the truth [DIR/truth.json]")
      ->option_text("FILE");
  app.add_flag("--flac", request.files.flac, "FLAC in place of WAV");
  app.add_option("--bits", request.files.bits,
                 "of WAV and FLAC, 8 to 24; up to 16 are kept in 16-bit files [24]")
      ->check(CLI::Range(8, 24))
      ->option_text("N");
  app.add_option("--threads", request.threads, "[all cores]")
      ->check(CLI::Range(1, 1024))
      ->option_text("N");
}

SessionSpec spec_of(const Request& request) {
  SessionSpec spec =
      hybrid_session(request.seed, 60.0 * request.minutes, request.room, request.remote);
  spec.mix = request.mix;
  spec.room.bleed_low_db = request.bleed_db[0];
  spec.room.bleed_high_db = request.bleed_db[1];
  const std::size_t guests_from = request.room > 0 ? 1 : 0;
  for (std::size_t i = 0; i < spec.recorders.size(); ++i) {
    const bool guest = i >= guests_from;
    spec.recorders[i].rate_hz =
        guest ? request.remote_rates_hz[(i - guests_from) % request.remote_rates_hz.size()]
              : request.room_rate_hz;
    // Multiples of the golden section: spread, and none like another.
    const double part = 0.6180339887498949 * static_cast<double>(i + 1);
    spec.recorders[i].start_s -= request.spread_s * (part - std::floor(part));
  }
  for (Person& person : spec.people) {
    person.talk_share = request.talk / static_cast<double>(spec.people.size());
    person.level_db = request.level_db;
    person.noise_db = request.noise_db;
    person.stored = request.stored;
    if (!person.remote) continue;
    person.stream.coding = request.stream;
    if (request.excursions_per_minute > 0.0)
      person.stream.excursions =
          random_excursions(request.seed + static_cast<std::uint64_t>(person.recorder), 0.0,
                            spec.length_s, request.excursions_per_minute, kLongestExcursion_s);
  }
  return spec;
}

int complain(const Error& error) {
  std::fprintf(stderr, "kilter-simulate: %s%s%s\n  next: %s\n", error.file.string().c_str(),
               error.file.empty() ? "" : ": ", error.what.c_str(), error.next_step.c_str());
  switch (error.kind) {
    case ErrorKind::bad_command:
      return 2;
    case ErrorKind::cannot_write:
      return 4;
    default:
      return 3;
  }
}

int run(const Request& request) {
  const SessionSpec spec = spec_of(request);
  std::unique_ptr<VoiceSource> voices = std::make_unique<SyntheticVoices>(request.seed);
  if (!request.voices.empty()) {
    auto folder =
        FolderVoices::open(request.voices, request.seed, static_cast<int>(spec.people.size()));
    if (!folder) return complain(folder.error());
    voices = *std::move(folder);
  }
  const auto session = simulate(spec, *voices, request.threads);
  if (!session) return complain(session.error());
  if (auto done = write_session(*session, request.out, request.files); !done)
    return complain(done.error());
  const std::filesystem::path truth = request.truth.empty()
                                          ? std::filesystem::path(request.out) / "truth.json"
                                          : std::filesystem::path(request.truth);
  if (auto done = write_truth(*session, truth, request.files); !done) return complain(done.error());
  for (std::size_t i = 0; i < session->tracks.size(); ++i)
    std::printf("%-10s %6.0f Hz  starts at %+11.6f s, drifts by %+8.3f ppm\n",
                session->tracks[i].name.c_str(), session->tracks[i].clock.rate_hz,
                session->line_of(i, 0.0), session->tracks[i].clock.drift_ppm);
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  Request request;
  CLI::App app{
      "Writes a hybrid session, people in a room and guests far away, with its exact truth."};
  app.footer(
      "The same options and libraries give the same bytes.\n"
      "  kilter-simulate --out demo --seed 7 --minutes 8 --room 4 --mix-codec mp3 --mix-kbps 128\n"
      "  kilter-simulate --out hard --bleed -10 -5 --gain-riding 6 --stream-codec opus "
      "--stream-kbps 32");
  add_output_options(app, request);
  add_session_options(app, request);
  add_mix_options(app, request);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? 0 : 2;
  }
  return run(request);
}
