#include "html_reader.h"

#include <algorithm>
#include <array>
#include <stdexcept>

namespace kilter::fuzz {
namespace {

constexpr std::string_view kLetters =
    "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-:";

bool holds_nothing(std::string_view element) {
  constexpr std::array<std::string_view, 6> kVoid{"meta", "link", "br", "img", "input", "hr"};
  return std::find(kVoid.begin(), kVoid.end(), element) != kVoid.end();
}

class Reader {
 public:
  explicit Reader(std::string_view page) : rest_(page) {
    for (const char letter : page)
      if (static_cast<unsigned char>(letter) < 0x20 && letter != '\n')
        refuse("a control character");
  }

  HtmlPage read() {
    expect("<!DOCTYPE html>");
    while (!rest_.empty()) {
      text();
      if (rest_.empty()) break;
      if (rest_.starts_with("</"))
        end_tag();
      else
        start_tag();
    }
    if (!open_.empty()) refuse("<" + open_.back() + "> is not closed");
    return std::move(page_);
  }

 private:
  [[noreturn]] void refuse(const std::string& what) const {
    throw std::runtime_error("page: " + what + " before \"" + std::string(rest_.substr(0, 80)) +
                             '"');
  }
  void expect(std::string_view text) {
    if (!rest_.starts_with(text)) refuse("not " + std::string(text));
    rest_.remove_prefix(text.size());
  }
  std::string word() {
    const std::size_t end = std::min(rest_.find_first_not_of(kLetters), rest_.size());
    if (end == 0) refuse("no name");
    std::string name(rest_.substr(0, end));
    rest_.remove_prefix(end);
    return name;
  }
  void blanks() { rest_.remove_prefix(std::min(rest_.find_first_not_of(" \n"), rest_.size())); }

  void text() {
    const std::string_view here = rest_.substr(0, std::min(rest_.find('<'), rest_.size()));
    without_entities(here);
    if (here.find('>') != std::string_view::npos) refuse("a bare > in a text");
    rest_.remove_prefix(here.size());
  }

  void start_tag() {
    expect("<");
    const std::string name = word();
    std::string element = name;
    for (blanks(); !rest_.empty() && rest_.front() != '>' && rest_.front() != '/'; blanks())
      element += ' ' + attribute();
    page_.elements.push_back(element);
    const bool closes_itself = rest_.starts_with('/');
    if (closes_itself) expect("/");
    expect(">");
    if (name == "script" || name == "style")
      raw_text(name);
    else if (!closes_itself && !holds_nothing(name))
      open_.push_back(name);
  }

  std::string attribute() {
    std::string name = word();
    if (!rest_.starts_with('=')) return name;
    expect("=\"");
    const std::string_view value = rest_.substr(0, rest_.find('"'));
    if (value.find_first_of("<>") != std::string_view::npos) refuse("a bare sign in an attribute");
    without_entities(value);
    rest_.remove_prefix(value.size());
    expect("\"");
    if (!rest_.empty() && std::string_view(" \n/>").find(rest_.front()) == std::string_view::npos)
      refuse("something behind an attribute");
    return name;
  }

  void end_tag() {
    expect("</");
    const std::string name = word();
    expect(">");
    if (open_.empty() || open_.back() != name) refuse("</" + name + "> closes another");
    open_.pop_back();
  }

  /// Up to the first end tag, as browsers have it.
  void raw_text(const std::string& name) {
    const std::size_t end = rest_.find("</" + name);
    if (end == std::string_view::npos) refuse("<" + name + "> is not closed");
    if (rest_.substr(0, end).find("<!--") != std::string_view::npos) refuse("a comment opens");
    if (name == "script") page_.scripts.emplace_back(rest_.substr(0, end));
    rest_.remove_prefix(end);
    expect("</" + name + '>');
  }

  std::string_view rest_;
  HtmlPage page_;
  std::vector<std::string> open_;
};

}  // namespace

HtmlPage read_html(std::string_view page) { return Reader(page).read(); }

std::string without_entities(std::string_view html) {
  struct Sign {
    std::string_view entity;
    std::string_view sign;
  };
  // The five that texts need, and those that the page's own words are written with.
  constexpr std::array<Sign, 14> kSigns{{{"&amp;", "&"},
                                         {"&lt;", "<"},
                                         {"&gt;", ">"},
                                         {"&quot;", "\""},
                                         {"&#39;", "'"},
                                         {"&middot;", "\u00B7"},
                                         {"&minus;", "\u2212"},
                                         {"&#9679;", "\u25CF"},
                                         {"&#9680;", "\u25D0"},
                                         {"&#9675;", "\u25CB"},
                                         {"&#10003;", "\u2713"},
                                         {"&plusmn;", "\u00B1"},
                                         {"&larr;", "\u2190"},
                                         {"&rarr;", "\u2192"}}};
  std::string text;
  while (!html.empty()) {
    const std::size_t plain = std::min(html.find('&'), html.size());
    text += html.substr(0, plain);
    html.remove_prefix(plain);
    if (html.empty()) break;
    const auto sign = std::find_if(kSigns.begin(), kSigns.end(),
                                   [&](const Sign& each) { return html.starts_with(each.entity); });
    if (sign == kSigns.end())
      throw std::runtime_error("a bare & before \"" + std::string(html.substr(0, 20)) + '"');
    text += sign->sign;
    html.remove_prefix(sign->entity.size());
  }
  return text;
}

}  // namespace kilter::fuzz
