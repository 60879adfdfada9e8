// What every page stands in: style, script, heading and the bar that moves its drawings.
#pragma once

#include <string>

namespace kilter::report {

struct Document {
  std::string kind;  ///< "report", for the title
  std::string session;
  std::string sentence;  ///< the session in one or two
  bool asks{false};      ///< whether something needs a person
  std::string figures;   ///< HTML
  std::string main;      ///< HTML
  std::string data;      ///< JSON, see script_data()
  std::string version;   ///< "kilter 1.2.0"
  bool plays{false};     ///< whether sound lies beside the page
};

std::string document_html(const Document& page);

/// Sections with one axis of time, moved and enlarged together.
std::string drawings_html(const std::string& sections);

}  // namespace kilter::report
