#include "manual.h"

#include <algorithm>
#include <cctype>
#include <string_view>

#include "kilter/report/text_table.h"

#ifndef KILTER_VERSION
#error "the build defines KILTER_VERSION"
#endif

namespace kilter::commands {
namespace {

/// Text that the formatter prints as it stands: hyphens can be copied into a shell, and no line
/// begins like a macro.
std::string roff(std::string_view text) {
  std::string result;
  for (const char letter : text) {
    if (letter == '.' && (result.empty() || result.ends_with('\n')))
      result += "\\&.";
    else if (letter == '\\')
      result += "\\e";
    else if (letter == '-')
      result += "\\-";
    else if (letter == '"')
      result += "\\(dq";
    else if (letter == '\'')
      result += "\\(aq";
    else if (letter == '^')
      result += "\\(ha";
    else if (letter == '~')
      result += "\\(ti";
    else if (letter == '`')
      result += "\\(ga";
    else
      result += letter;
  }
  return result;
}

std::string capitals(std::string text) {
  for (char& letter : text)
    letter = static_cast<char>(std::toupper(static_cast<unsigned char>(letter)));
  return text;
}

/// "What arrived." as a sentence's end: "what arrived"
std::string as_phrase(std::string text) {
  if (text.ends_with('.')) text.pop_back();
  text.front() = static_cast<char>(std::tolower(static_cast<unsigned char>(text.front())));
  return text;
}

/// A phrase as a sentence.
std::string as_sentence(std::string text) {
  text.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(text.front())));
  return text + '.';
}

std::string bold(std::string_view text) { return "\\fB" + roff(text) + "\\fR"; }
std::string italic(std::string_view text) { return "\\fI" + roff(text) + "\\fR"; }

/// Text over lines as an editor shows them.
std::string body(std::string_view text) {
  std::string lines = report::wrapped(roff(text), 78, 0);
  for (auto at = lines.find("\n."); at != std::string::npos; at = lines.find("\n.", at))
    lines.insert(at + 1, "\\&");
  return lines + '\n';
}

std::string section(const std::string& title) { return ".SH " + title + '\n'; }
std::string paragraph(const std::string& text) { return ".PP\n" + body(text); }
/// `tag` as roff.
std::string tagged(const std::string& tag, const std::string& text) {
  return ".TP\n" + tag + '\n' + body(text);
}

std::string page_start(const std::string& page, const std::string& about) {
  return ".\\\" made from what the program says of itself: not to be edited\n"
         ".TH " +
         capitals(roff(page)) + " 1 \"\" \"kilter " KILTER_VERSION "\" \"kilter\"\n.nh\n.ad l\n" +
         section("NAME") + roff(page) + " \\- " + roff(about) + '\n';
}

bool names_all(const std::string& text, const std::vector<std::string>& words) {
  return std::all_of(words.begin(), words.end(),
                     [&](const std::string& word) { return text.find(word) != std::string::npos; });
}

/// Behind a heading a paragraph begins by itself.
std::string without_idle_paragraphs(std::string text) {
  constexpr std::string_view kParagraph = ".PP\n";
  for (auto at = text.find("\n.SH "); at != std::string::npos; at = text.find("\n.SH ", at)) {
    at = text.find('\n', at + 1) + 1;
    if (text.compare(at, kParagraph.size(), kParagraph) == 0) text.erase(at, kParagraph.size());
    --at;
  }
  return text;
}

std::string option_text(const OptionWords& option) {
  std::string text = as_sentence(option.about);
  if (option.takes == Takes::one_of && !names_all(option.about, option.choices)) {
    text += " One of";
    for (const std::string& choice : option.choices) text += ' ' + choice + ',';
    text.back() = '.';
  }
  if (!option.more.empty()) text += ' ' + option.more;
  if (!option.standard.empty()) text += " Without it: " + option.standard + '.';
  if (option.required) text += " Must be given.";
  return text;
}

std::string options_of(const std::vector<OptionWords>& options, bool with_groups) {
  std::string text = section("OPTIONS");
  for (const std::string& group : groups_of(options)) {
    if (with_groups) text += ".SS " + group + '\n';
    for (const OptionWords& option : options)
      if (option.group == group)
        text += tagged(bold(option.name) + (option.value.empty() ? "" : ' ' + italic(option.value)),
                       option_text(option));
  }
  return text;
}

/// Lines as they stand.
std::string verbatim(const std::string& lines) {
  return ".PP\n.RS 4\n.nf\n" + roff(lines) + "\n.fi\n.RE\n";
}

std::string exits(const std::string& exit_one) {
  std::string text = section("EXIT STATUS");
  for (const ExitWords& exit : exit_words()) {
    std::string meaning = as_sentence(exit.meaning);
    if (exit.exit == Exit::needs_person && !exit_one.empty()) meaning += " Here: " + exit_one + '.';
    if (!exit.next.empty()) meaning += ' ' + as_sentence(exit.next);
    text += tagged(bold(std::to_string(static_cast<int>(exit.exit))), meaning);
  }
  return text + paragraph(
                    "Results go to standard output; progress, warnings and errors to standard "
                    "error, and progress only where that is a terminal.");
}

std::string files(const std::vector<NamedWords>& files) {
  std::string text = section("FILES");
  for (const NamedWords& file : files) text += tagged(italic(file.name), as_sentence(file.about));
  return text;
}

std::string environment() {
  std::string text = section("ENVIRONMENT");
  for (const NamedWords& variable : environment_words())
    text += tagged(bold(variable.name), as_sentence(variable.about));
  return text;
}

std::string examples(const std::vector<ExampleWords>& examples) {
  std::string text = section("EXAMPLES");
  for (const ExampleWords& example : examples)
    text += paragraph(as_sentence(example.does)) + verbatim(example.line);
  return text;
}

std::string see_also(const std::string& page) {
  std::string text;
  const auto add = [&](const std::string& other) {
    if (other != page) text += (text.empty() ? ".BR " : ",\n.BR ") + roff(other) + " (1)";
  };
  add("kilter");
  for (const CommandWords& command : command_words()) add("kilter-" + command.name);
  return section("SEE ALSO") + text + '\n';
}

std::string session_file() {
  return section("SESSIONS") +
         paragraph(
             "A session is a folder of recordings, and needs no file that describes it: which file "
             "is the mix, who sat in the room and which tracks share a recorder is found from "
             "names "
             "and from the sound. What cannot be known is said in a session.toml in that folder; "
             "kilter survey --write-session writes one to begin with.") +
         verbatim(
             "title = \"Lighthouse Hour 12\"\n"
             "mix   = \"mixdown.flac\"\n"
             "[[track]]\n"
             "name     = \"keeper\"\n"
             "parts    = [\"rec_0001.wav\", \"rec_0002.wav\"]\n"
             "channel  = 3\n"
             "recorder = \"desk\"\n"
             "role     = \"room\"\n"
             "start_s  = 12.5\n"
             "pinned   = true") +
         paragraph(
             "All of it is optional. role is room, remote, mix or ignore; tracks of one recorder "
             "share "
             "a clock; start_s is where the track starts on the mix's time, in seconds: a hint, or "
             "with pinned = true an order. A key folder names where the recordings lie, for a file "
             "that "
             "is kept elsewhere.");
}

}  // namespace

std::string program_manual() {
  std::string text = page_start("kilter", "lines up the tracks of a show with its mixdown");
  text += section("SYNOPSIS") + bold("kilter") + ' ' + italic("COMMAND") + ' ' + italic("SESSION") +
          "... [" + italic("OPTION") + "...]\n";
  text += section("DESCRIPTION") +
          paragraph(
              "A talk show was recorded in more than one place: microphones in a room, a file from "
              "each guest, and the mixdown that everybody listened to. kilter finds where every "
              "track belongs in the mixdown and how fast its clock ran, says how sure it is of "
              "both, and writes stems that start together, last equally long and stay in step.") +
          paragraph("The recordings are only read.") + section("COMMANDS");
  for (const CommandWords& command : command_words())
    text += tagged(bold(command.name), command.about + " See kilter-" + command.name + "(1).");
  std::vector<ExampleWords> lines;
  for (const CommandWords& command : command_words()) lines.push_back(command.examples.front());
  text += options_of(program_option_words(), false) + session_file() + exits("") +
          files({{"session.toml", "in a session's folder, what the files do not tell"}}) +
          environment() + examples(lines) + see_also("kilter");
  return without_idle_paragraphs(text);
}

std::string command_manual(const CommandWords& command) {
  const std::string page = "kilter-" + command.name;
  std::string text = page_start(page, as_phrase(command.about));
  text += section("SYNOPSIS") + roff(usage_text(command)) + '\n' + section("DESCRIPTION") +
          paragraph(command.story.front()) +
          paragraph(command.operand + " is " + command.session +
                    ". See kilter(1) for what may be said of it.");
  for (std::size_t i = 1; i < command.story.size(); ++i) text += paragraph(command.story[i]);
  text += options_of(command.options, true) + exits(command.exit_one) + files(command.files) +
          environment() + examples(command.examples) + see_also(page);
  return without_idle_paragraphs(text);
}

}  // namespace kilter::commands
