#include "titles.h"

#include <algorithm>
#include <array>
#include <string_view>

namespace kilter::report {
namespace {

struct Title {
  std::string_view code;
  std::string_view words;
};

constexpr std::array kTitles{Title{"clipped", "Clipped"},
                             Title{"dc", "Constant offset"},
                             Title{"dead", "Nobody is heard on it"},
                             Title{"dropout", "Sound lost on the way"},
                             Title{"duplicate", "The same as another track"},
                             Title{"ends-early", "Its end is missing"},
                             Title{"excursion", "Held back in the mix for a while"},
                             Title{"folder-left-out", "A folder was not looked into"},
                             Title{"further-sound", "Holds another stream of sound"},
                             Title{"hum", "Hum of the mains"},
                             Title{"inverted", "Opposite polarity"},
                             Title{"lead-in", "Begins with its coder's lead-in"},
                             Title{"leak", "Holds more than its own person"},
                             Title{"left-out", "Not looked at"},
                             Title{"low-level", "Very quiet"},
                             Title{"missing-part", "A file is missing in between"},
                             Title{"missing-voice", "Somebody is heard whom no track holds"},
                             Title{"mix-copy", "The mix once more"},
                             Title{"mix-music", "Music that no track holds"},
                             Title{"mix-repeat", "Talk that the mix holds twice"},
                             Title{"mix-seam", "The mix lost or repeated a stretch"},
                             Title{"no-mix", "No mix"},
                             Title{"not-a-number", "Samples that are no numbers"},
                             Title{"over", "Peaks above full scale"},
                             Title{"overlap", "Packets came twice"},
                             Title{"overruled", "Placed as told"},
                             Title{"seam", "A stretch lost or repeated"},
                             Title{"several-mixes", "More than one file could be the mix"},
                             Title{"sibling-placed", "Placed where another track lies"},
                             Title{"silent", "Silent"},
                             Title{"sound-start", "Sound starts beside its picture"},
                             Title{"starts-late", "Its beginning is missing"},
                             Title{"start-stamp", "A time stamp contradicts the sound"},
                             Title{"thin-evidence", "Its place is not sure"},
                             Title{"told-start", "The session file says another place"},
                             Title{"too-short", "Too short to tell"},
                             Title{"truncated", "Breaks off"},
                             Title{"two-clocks", "One recorder, two clocks"},
                             Title{"unmatched", "Fits nowhere"},
                             Title{"unreadable", "Cannot be read"},
                             Title{"unrecorded", "Talk while no recording runs"},
                             Title{"wrong-rate", "Header states a wrong rate"}};

}  // namespace

std::string title_of(const Finding& finding) {
  const auto* found = std::find_if(kTitles.begin(), kTitles.end(),
                                   [&](const Title& title) { return title.code == finding.code; });
  return found == kTitles.end() ? finding.code : std::string(found->words);
}

}  // namespace kilter::report
