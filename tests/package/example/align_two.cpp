// align_two MIX TRACK: where a track begins in its mix, and how fast its recorder's clock ran.
#include <kilter/intake/intake.h>
#include <kilter/sync/align.h>

#include <cstdio>

int main(int argc, char** argv) {
  using namespace kilter;
  if (argc != 3) return 2;
  const auto files = intake::take_in_all({{argv[1]}, {argv[2]}}, {});
  for (const auto& file : files)
    if (!file) return std::fprintf(stderr, "%s\n", file.error().what.c_str()), 3;
  const intake::IntakeFile& mix = *files[0];
  const intake::IntakeFile& track = *files[1];
  const auto mix_sound = intake::whole_signal(mix);  // 16 kHz, in a file that vanishes by itself
  const auto track_sound = intake::whole_signal(track);
  if (!mix_sound || !track_sound) return std::fprintf(stderr, "a file is silent\n"), 3;

  const sync::MixInput mix_input{mix_sound.get(), to_seconds(mix.length, mix.info.rate).s,
                                 mix.info.lossy};
  const sync::TrackInput track_input{"track", track_sound.get(),
                                     to_seconds(track.length, track.info.rate).s, track.info.lossy,
                                     track.info.rate.hz};
  const auto found = sync::align(mix_input, {track_input}, {});
  if (!found) return std::fprintf(stderr, "%s\n", found.error().what.c_str()), 3;
  const sync::TrackPlacing& placing = found->tracks.front();
  if (!placing.map) return std::puts("unplaced"), 1;
  std::printf("%s: starts at %.6f s, drift %+.2f ppm, +-%.1f us\n", to_text(placing.standing),
              placing.map->start_s(), placing.map->drift_ppm(), placing.uncertainty_us);
  return placing.standing == Standing::firm ? 0 : 1;
}
