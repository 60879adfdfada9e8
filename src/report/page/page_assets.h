// The page's style and script, from page.css and page.js.
#pragma once

namespace kilter::report {

extern const char* const kPageStyle;
extern const char* const kPageScript;

}  // namespace kilter::report
