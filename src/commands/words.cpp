#include "words.h"

#include <algorithm>

#include "option_words.h"

namespace kilter::commands {
namespace {

constexpr const char* kSession = "a folder, a session.toml, or audio files";

CommandWords survey() {
  return {
      .command = Command::survey,
      .name = "survey",
      .about = "What arrived: a row per track, and findings.",
      .session = kSession,
      .story =
          {"Reads every file of the session once and tells what it is: format, length, level, "
           "which "
           "file is the mix, which channels are copies of each other, and what is wrong with a "
           "file on its own. Nothing is placed.",
           "With --sound-check the session is a test take, made before the show, in which "
           "everybody "
           "says a line, one after another. It tells of each input whether it is alive, its own "
           "signal, too low or clipping, and what to mend."},
      .options = survey_options(),
      .files = {{"NAME.session.toml", "with --write-session, in the current folder"}},
      .exit_one =
          "a file cannot be read, no mix or several are found, or something else needs a "
          "person; with --sound-check, as long as something is to be mended",
      .examples = {{"kilter survey shows/lighthouse-12",
                    "tells what arrived in the folder, a row per track"},
                   {"kilter survey shows/lighthouse-12 --write-session",
                    "writes lighthouse-12.session.toml here, for what the files do not tell"},
                   {"kilter survey test-take --sound-check",
                    "tells before the show which input is dead, too low or another's"}},
  };
}

CommandWords align() {
  return {
      .command = Command::align,
      .name = "align",
      .about = "Where every track belongs: writes the lineup.",
      .session = kSession,
      .story =
          {"Finds where each track begins in the mix, how fast its recorder's clock ran, and where "
           "a file, a network or the mix lost or repeated a stretch. All tracks are measured "
           "together, as a set that explains the mix. Each is firm, shaky (a person must look) or "
           "unplaced, with a 95 % bound on its place.",
           "Without a mix the tracks of one room are placed against each other; no sound tells how "
           "far it travelled to each microphone, so all but one stay shaky."},
      .options = align_options(),
      .files = {{"NAME.lineup.json",
                 "the lineup, in the current folder unless --lineup names another file"}},
      .exit_one =
          "a track is shaky, unplaced or unreadable, sound was lost, or somebody in the mix "
          "has no track",
      .examples = {{"kilter align shows/lighthouse-12",
                    "finds where every track belongs; writes lighthouse-12.lineup.json here"},
                   {"kilter align shows/lighthouse-12 --mix final.flac --lineup lineups/12.json",
                    "takes another file for the mix, and writes the lineup there"}},
  };
}

CommandWords conform() {
  return {
      .command = Command::conform,
      .name = "conform",
      .about = "Aligned stems, a lineup, edit lists and a report.",
      .session = kSession,
      .story =
          {"Aligns the session, unless --lineup names a lineup, and writes stems that all start at "
           "the same moment, last equally long and run at the same rate, with drift, wander and "
           "seams taken out. What already lies right is copied bit for bit.",
           "The result appears at once when all of it is written. An interrupted run leaves "
           "nothing "
           "under the folder's name, and room on the disk is looked at first."},
      .options = conform_options(),
      .files = {{"DIR/stems/NAME.wav", "a stem per track, and the mix beside them"},
                {"DIR/edits/cuts.tsv",
                 "every cut, exact to a fraction of a sample; may be changed and "
                 "given back with --cuts"},
                {"DIR/edits/SESSION.edl", "event list after SMPTE 258M"},
                {"DIR/edits/SESSION.adl", "audio decision list after AES31-3"},
                {"DIR/lineup.json", "the lineup that was followed"},
                {"DIR/report.html",
                 "what needs a person, and every track in time, for any browser"}},
      .exit_one =
          "a track is shaky, unplaced, unreadable or beyond --limit-ms, sound was lost, or "
          "somebody in the mix has no track",
      .examples = {{"kilter conform shows/lighthouse-12 --out lighthouse-12.conformed",
                    "writes aligned stems, a lineup, edit lists and a report to that folder"},
                   {"kilter conform shows/lighthouse-12 --lineup 12.lineup.json --out 12 --bits 16",
                    "follows a lineup that is there already, and writes 16-bit stems"},
                   {"kilter conform shows/12 --lineup 12/lineup.json --cuts mended.tsv --out 12b",
                    "follows a table of cuts that you have changed"}},
  };
}

CommandWords check() {
  return {
      .command = Command::check,
      .name = "check",
      .about = "Measures stems against the mix again, for CI.",
      .session = "a folder that conform wrote, or stems and their mix",
      .story =
          {"Measures finished stems against their mix afresh. Of the lineup beside them it "
           "takes only the name of the mix and the digests that tell stems apart, so it may as "
           "well be given stems that an editor wrote later.",
           "A stem passes where the mix bears it out and it is nowhere further off than the "
           "limit. What the mix says too little about does not pass."},
      .options = check_options(),
      .files = {{"DIR/lineup.json", "of a folder that conform wrote, is read"}},
      .exit_one =
          "a stem is beyond the limit, upside down anywhere, missing or cut short, or the "
          "mix says too little of it to tell",
      .examples = {{"kilter check lighthouse-12.conformed --junit check.xml",
                    "measures the stems; exits with 1 where one is more than 1 ms off"},
                   {"kilter check exported-stems --mix final.wav --limit-ms 0.5",
                    "measures what an editor exported against the final mix, to half a ms"},
                   {"kilter check shows/lighthouse-12 --lineup 12.lineup.json",
                    "measures a lineup's places, before there are stems"}},
  };
}

CommandWords batch() {
  return {
      .command = Command::batch,
      .name = "batch",
      .about = "Conforms every session below a folder.",
      .operand = "ARCHIVE",
      .session = "a folder with sessions' folders in it, at any depth",
      .story =
          {"Finds the session folders below ARCHIVE, those that hold a session.toml or at least "
           "two "
           "audio files, and conforms each into a folder of its own below DIR. Options that bear "
           "on "
           "results are those of conform. A session that fails, be it by a crash, stops no other.",
           "Run again, it does only what is left: sessions that failed, that are new, whose files "
           "have changed, or that were made with other options or by another version. So an "
           "interrupted, killed or crashed batch just goes on.",
           "Many machines share an archive with --only: each does its part, into the same DIR on a "
           "shared disk, or into DIRs that are put together later. --merge then tells of all "
           "parts."},
      .options = batch_options(),
      .files = {{"DIR/PATH/",
                 "what conform writes, for the session in ARCHIVE/PATH; the lineup alone, as "
                 "DIR/PATH.lineup.json, with --align-only"},
                {"DIR/batch.jsonl",
                 "a JSON line for each session, appended when it ends; batch.K-of-N.jsonl with "
                 "--only, batch.align.jsonl and batch.check.jsonl for those"}},
      .exit_one = "a session failed or needs a person",
      .examples = {{"kilter batch shows --out conformed --jobs 2",
                    "conforms every session below shows, two at a time"},
                   {"kilter batch shows --out conformed --dry-run",
                    "tells what that would do, how long it may take and the room it needs"},
                   {"kilter batch shows --out conformed --only 2/5",
                    "does the second of five parts, for the second of five machines"},
                   {"kilter batch shows --out conformed --merge --junit batch.xml",
                    "tells how all parts went, and writes a test report of it"}},
  };
}

}  // namespace

const std::vector<CommandWords>& command_words() {
  static const std::vector<CommandWords> words{survey(), align(), conform(), check(), batch()};
  return words;
}

const std::vector<OptionWords>& program_option_words() {
  static const std::vector<OptionWords> words{
      {.name = "--version",
       .group = "Options",
       .about = "print the version, and those of its libraries, and exit"},
      {.name = "--help", .group = "Options", .about = "print this help and exit; also -h"}};
  return words;
}

const std::vector<ExitWords>& exit_words() {
  static const std::vector<ExitWords> words{
      {Exit::done, "all firm, all written, within the limit", ""},
      {Exit::needs_person, "finished, but something needs a person", "read the findings"},
      {Exit::bad_command, "the command line is wrong, nothing was done", "read --help"},
      {Exit::no_input, "no usable input", "see to the file that is named"},
      {Exit::cannot_write, "an output could not be written", "check space and rights"},
      {Exit::bug, "a fault of ours", "report it, with the output of kilter --version"},
      {Exit::no_memory, "memory ran out", "close other programs, or work with fewer --threads"},
      {Exit::interrupted, "interrupted; nothing half-written is left", ""}};
  return words;
}

const std::vector<NamedWords>& environment_words() {
  static const std::vector<NamedWords> words{
      {"TMPDIR",
       "where the analysis keeps its copies while it works, about 32 kB for each second of each "
       "channel; without it the system's folder for temporary files"}};
  return words;
}

std::vector<std::string> groups_of(const std::vector<OptionWords>& options) {
  std::vector<std::string> groups;
  for (const OptionWords& option : options)
    if (std::find(groups.begin(), groups.end(), option.group) == groups.end())
      groups.push_back(option.group);
  return groups;
}

std::string operand_text(const CommandWords& command) {
  return command.operand + (command.command == Command::batch ? "" : "...");
}

std::string usage_text(const CommandWords& command) {
  std::string text = "kilter " + command.name + ' ' + operand_text(command);
  for (const OptionWords& option : command.options)
    if (option.required) text += ' ' + option.name + ' ' + option.value;
  return text + " [OPTION...]";
}

}  // namespace kilter::commands
