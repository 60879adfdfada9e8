#include "kilter/base/lineup.h"

#include <array>
#include <cmath>

namespace kilter {
namespace {

template <typename Value>
struct Named {
  Value value;
  const char* text;
};

constexpr std::array kRoles{Named<Role>{Role::room, "room"}, Named<Role>{Role::remote, "remote"},
                            Named<Role>{Role::mix, "mix"}, Named<Role>{Role::ignore, "ignore"}};
constexpr std::array kStandings{Named<Standing>{Standing::firm, "firm"},
                                Named<Standing>{Standing::shaky, "shaky"},
                                Named<Standing>{Standing::unplaced, "unplaced"}};

template <typename Table, typename Value>
const char* text_of(const Table& table, Value value) {
  for (const auto& row : table)
    if (row.value == value) return row.text;
  return "";
}

template <typename Value, typename Table>
std::optional<Value> value_of(const Table& table, const std::string& text) {
  for (const auto& row : table)
    if (text == row.text) return row.value;
  return std::nullopt;
}

}  // namespace

const char* to_text(Role role) { return text_of(kRoles, role); }
const char* to_text(Standing standing) { return text_of(kStandings, standing); }
std::optional<Role> role_from_text(const std::string& text) { return value_of<Role>(kRoles, text); }
std::optional<Standing> standing_from_text(const std::string& text) {
  return value_of<Standing>(kStandings, text);
}

double LineupTrack::recorded_rate_hz() const {
  for (const Finding& finding : findings)
    if (finding.code == "wrong-rate" && finding.rate_hz &&
        *finding.rate_hz == std::floor(*finding.rate_hz))
      return *finding.rate_hz;
  return rate_hz;
}

}  // namespace kilter
