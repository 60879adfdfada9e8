#include "option_words.h"

#include "kilter/edits/timecode.h"
#include "option_choices.h"

namespace kilter::commands {
namespace {

OptionWords mix() {
  return {.name = "--mix",
          .takes = Takes::file,
          .value = "FILE",
          .group = "Input",
          .about = "the mixdown",
          .standard = "found by name, else by sound",
          .more = "It may lie outside the session's folder."};
}

OptionWords limit() {
  return {.name = "--limit-ms",
          .takes = Takes::number,
          .value = "X",
          .group = "Limits",
          .about = "largest permitted misalignment, in milliseconds",
          .standard = "1.0",
          .more = "Above 0, and at most an hour."};
}

OptionWords allow_silent() {
  return {.name = "--allow-silent",
          .group = "Limits",
          .about = "let stems pass that hardly sound",
          .more = "Only in a session that misses nobody."};
}

std::vector<OptionWords> running() {
  return {
      {.name = "--threads",
       .takes = Takes::number,
       .value = "N",
       .group = "Running",
       .about = "threads to work with, 1 to 1024",
       .standard = "all cores",
       .more = "Results are the same, to the last bit, for any number."},
      {.name = "--quiet", .group = "Running", .about = "no progress"},
      {.name = "--json",
       .group = "Running",
       .about = "one JSON document on stdout in place of the table"},
      {.name = "--help", .group = "Running", .about = "print this help and exit; also -h"},
  };
}

std::vector<OptionWords> output() {
  return {
      {.name = "--out",
       .takes = Takes::folder,
       .value = "DIR",
       .group = "Output",
       .about = "folder for all of it; refused if it holds files",
       .more = "It appears when everything is written, and not before.",
       .required = true},
      {.name = "--replace",
       .group = "Output",
       .about = "replace an earlier result in that folder",
       .more = "Only what an earlier run wrote is replaced; other files stay."},
      {.name = "--clips",
       .group = "Output",
       .about = "also short clips to listen to: mix left, stem right",
       .more = "At each track's start, end, seams, worst residual and weakest evidence; the report "
               "plays them."},
  };
}

std::vector<OptionWords> stems() {
  return {
      {.name = "--range",
       .takes = Takes::one_of,
       .value = "RANGE",
       .group = "Stems",
       .about =
           "what all stems cover: mix, all (everything that was recorded) or shared (what every "
           "track covers)",
       .standard = "mix",
       .choices = texts_of(kRanges)},
      {.name = "--clock",
       .takes = Takes::text,
       .value = "CLOCK",
       .group = "Stems",
       .about = "whose clock stays untouched: mix, or a track",
       .standard = "mix",
       .more =
           "The tracks of that track's recorder are then not resampled; all others, and the mix, "
           "follow it.",
       .choices = {"mix"}},
      {.name = "--rate",
       .takes = Takes::number,
       .value = "HZ",
       .group = "Stems",
       .about = "sample rate in hertz, a whole number from 1000 to 768000",
       .standard = "the clock's"},
      {.name = "--bits",
       .takes = Takes::one_of,
       .value = "BITS",
       .group = "Stems",
       .about = "sample format: 16, 24, or 32f for floating point",
       .standard = "24",
       .choices = texts_of(kBits)},
      {.name = "--container",
       .takes = Takes::one_of,
       .value = "KIND",
       .group = "Stems",
       .about = "kind of file: wav, rf64 or flac; wav becomes RF64 by itself beyond 4 GiB",
       .standard = "wav",
       .choices = texts_of(kContainers)},
  };
}

std::vector<OptionWords> edit_lists() {
  return {
      {.name = "--fps",
       .takes = Takes::one_of,
       .value = "RATE",
       .group = "Edit lists",
       .about = "pictures a second: 23.976 to 60, or 29.97df",
       .standard = "25",
       .more = "df counts drop-frame.",
       .choices = edits::frame_rate_names()},
      {.name = "--start-tc",
       .takes = Takes::text,
       .value = "TC",
       .group = "Edit lists",
       .about = "timecode HH:MM:SS:FF of the first sample",
       .standard = "01:00:00:00"},
  };
}

/// Parts one after another.
std::vector<OptionWords> together(std::initializer_list<std::vector<OptionWords>> parts) {
  std::vector<OptionWords> all;
  for (const auto& part : parts) all.insert(all.end(), part.begin(), part.end());
  return all;
}

}  // namespace

std::vector<OptionWords> survey_options() {
  return together(
      {{mix(),
        {.name = "--sound-check",
         .group = "Input",
         .about = "of a short test take: what to mend before the show"},
        {.name = "--write-session",
         .group = "Output",
         .about = "write NAME.session.toml here, to be edited",
         .more = "A file of that name is never replaced."},
        {.name = "--html",
         .takes = Takes::file,
         .value = "FILE",
         .group = "Output",
         .about = "write it as a page, too, with the sound drawn",
         .more = "An earlier page there is replaced; any other file is not. A session's "
                 "folder is never written to."}},
       running()});
}

std::vector<OptionWords> align_options() {
  return together(
      {{mix(),
        {.name = "--lineup",
         .takes = Takes::file,
         .value = "FILE",
         .group = "Output",
         .about = "where to write the lineup",
         .standard = "NAME.lineup.json here",
         .more = "An earlier lineup there is replaced; any other file is not. A session's "
                 "folder is never written to."}},
       running()});
}

std::vector<OptionWords> conform_options() {
  return together({{mix(),
                    {.name = "--lineup",
                     .takes = Takes::file,
                     .value = "FILE",
                     .group = "Input",
                     .about = "read this lineup instead of aligning"},
                    {.name = "--cuts",
                     .takes = Takes::file,
                     .value = "FILE",
                     .group = "Input",
                     .about = "a cuts.tsv you changed: it overrules the lineup",
                     .more = "What it changes stays in lineup.json as overruled."}},
                   output(),
                   {limit()},
                   stems(),
                   edit_lists(),
                   running()});
}

std::vector<OptionWords> check_options() {
  return together({{mix(),
                    {.name = "--lineup",
                     .takes = Takes::file,
                     .value = "FILE",
                     .group = "Input",
                     .about = "check this lineup's places, without stems"},
                    limit(),
                    allow_silent(),
                    {.name = "--junit",
                     .takes = Takes::file,
                     .value = "FILE",
                     .group = "Output",
                     .about = "write a test report for CI there"}},
                   running()});
}

std::vector<OptionWords> batch_options() {
  std::vector<OptionWords> all{
      {.name = "--jobs",
       .takes = Takes::number,
       .value = "N",
       .group = "Batch",
       .about = "sessions side by side, which share --threads",
       .standard = "1",
       .more = "No more than there are threads. Each needs memory and room in TMPDIR."},
      {.name = "--again", .group = "Batch", .about = "do what is done already, too"},
      {.name = "--align-only", .group = "Batch", .about = "lineups only, no stems"},
      {.name = "--check-only",
       .group = "Batch",
       .about = "check the stems in DIR once more",
       .more = "Of the other options only --limit-ms and --allow-silent bear on that."},
      {.name = "--dry-run",
       .group = "Batch",
       .about = "only tell what would be done, in which time and room"},
      {.name = "--list",
       .group = "Batch",
       .about = "only list the sessions, one per line",
       .more = "With --json names are exact, whatever letters they hold."},
      {.name = "--only",
       .takes = Takes::text,
       .value = "K/N",
       .group = "Batch",
       .about = "only the K-th of N parts",
       .more = "Which part a session belongs to follows from its path below ARCHIVE alone."},
      {.name = "--merge",
       .group = "Batch",
       .about = "do nothing, and tell how all parts went",
       .more = "Sessions that no part has done count as failed."},
      {.name = "--junit",
       .takes = Takes::file,
       .value = "FILE",
       .group = "Batch",
       .about = "write a test report for CI there, a case per session"}};
  for (OptionWords& option : conform_options()) {
    // Which are one session's.
    if (option.name == "--lineup" || option.name == "--cuts") continue;
    if (option.name == "--mix")
      option.more = "Looked for from where you stand, else in each session's folder.";
    if (option.name == "--replace") {
      option.about = "go into a folder that holds other files";
      option.more = "A folder that an earlier batch wrote needs no such word.";
    }
    if (option.name == "--out") {
      option.about = "folder for all results; an earlier batch's goes on";
      option.more = "Not needed with --list.";
    }
    all.push_back(std::move(option));
  }
  OptionWords silent = allow_silent();
  silent.more += " With --check-only.";
  all.push_back(std::move(silent));
  return all;
}

}  // namespace kilter::commands
