// Writes a page made by rule: kilter-sample-page calm|long|troubled|given|hostile|survey > FILE
#include <cstdio>
#include <string>

#include "kilter/report/survey_page.h"
#include "sample_pages.h"

namespace {

int print(const std::string& html) {
  return std::fwrite(html.data(), 1, html.size(), stdout) == html.size() ? 0 : 1;
}

}  // namespace

int main(int argc, char** argv) {
  const std::string kind = argc == 2 ? argv[1] : "";
  if (kind == "survey") {
    const auto survey = kilter::test::sample_survey();
    return print(kilter::report::survey_html({&survey, {}, "kilter 0.0.0", "kilter survey"}));
  }
  const auto sample = kind == "calm"                          ? kilter::test::calm_page(5, 900.0)
                      : kind == "long"                        ? kilter::test::calm_page(10, 10800.0)
                      : kind == "hostile"                     ? kilter::test::hostile_page()
                      : kind == "troubled" || kind == "given" ? kilter::test::troubled_page()
                                                              : nullptr;
  if (!sample) {
    std::fputs("usage: kilter-sample-page calm|long|troubled|given|hostile|survey\n", stderr);
    return 2;
  }
  if (kind == "given") sample->page.heard = nullptr;
  const std::string html = kilter::report::report_html(sample->page);
  return print(html);
}
