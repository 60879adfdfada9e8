// What file names tell: the mix, an order for people, names for tracks.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace kilter::session {

/// Whether a file name without its ending calls the file the mix. Whole words only, whatever their
/// case: "final_MIX-2" does, "mixer" and "mix-minus" do not. `perhaps`: the word has other uses
/// ("full", "cloud", "master"), so the sound should have a say.
enum class MixWord { no, perhaps, yes };
MixWord mix_word(std::string_view stem);

/// ASCII letters in lower case, all else as it is.
std::string lower(std::string_view text);

/// Order for people: case aside, and numbers by their value, so that mic-2 comes before mic-10.
bool comes_before(std::string_view a, std::string_view b);

/// The same names, with "-2", "-3".. put behind those that occurred before (case aside).
std::vector<std::string> made_unique(std::vector<std::string> names);

/// The name without what marks it as one take of several: "harbour" of "harbour-2", "harbour (3)",
/// "harbour_take2" and "harbour-reconnect"; the name itself where nothing does. Numbers behind
/// words for any person or input ("guest-2", "mic 3") count people, not takes.
std::string voice_of_take(std::string_view name);

/// Which of the known names somebody meant who wrote another: the nearest by letters added, left
/// out or changed, where no more than a third of them are.
std::optional<std::string_view> nearest_name(std::string_view written,
                                             std::span<const std::string_view> known);

}  // namespace kilter::session
