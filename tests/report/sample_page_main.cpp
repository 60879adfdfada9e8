// Writes a page made by rule: kilter-sample-page calm|long|troubled|given|hostile > FILE
#include <cstdio>
#include <string>

#include "sample_pages.h"

int main(int argc, char** argv) {
  const std::string kind = argc == 2 ? argv[1] : "";
  const auto sample = kind == "calm"                          ? kilter::test::calm_page(5, 900.0)
                      : kind == "long"                        ? kilter::test::calm_page(10, 10800.0)
                      : kind == "hostile"                     ? kilter::test::hostile_page()
                      : kind == "troubled" || kind == "given" ? kilter::test::troubled_page()
                                                              : nullptr;
  if (!sample) {
    std::fputs("usage: kilter-sample-page calm|long|troubled|given|hostile\n", stderr);
    return 2;
  }
  if (kind == "given") sample->page.heard = nullptr;
  const std::string html = kilter::report::report_html(sample->page);
  return std::fwrite(html.data(), 1, html.size(), stdout) == html.size() ? 0 : 1;
}
