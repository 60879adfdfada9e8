// A small strict reader of pages: tells which elements a page has, whatever its texts say.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace kilter::fuzz {

struct HtmlPage {
  /// Each start tag with the names of its attributes: "a class href".
  std::vector<std::string> elements;
  std::vector<std::string> scripts;
};

/// Throws std::runtime_error where the page is not as plain as it could be: an attribute without
/// double quotes or with a bare sign inside, an element that is not closed, a comment, a bare sign
/// in a text, a control character.
HtmlPage read_html(std::string_view page);

/// A text or an attribute's value with its signs put back. Throws where a sign is none that
/// pages of ours are written with.
std::string without_entities(std::string_view html);

}  // namespace kilter::fuzz
