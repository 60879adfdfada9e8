#include "kilter/base/name_key.h"

#include <algorithm>
#include <array>

#include "kilter/base/utf8.h"

namespace kilter {
namespace {

/// Letters from `first` on, small and without accents: simple case folding and canonical
/// decomposition of the Unicode Character Database, version 14 (UAX #44). '_': stays itself.
struct Letters {
  char32_t first;
  std::u32string_view plain;
};
// clang-format off
constexpr std::array kLetters{
    Letters{'A', U"abcdefghijklmnopqrstuvwxyz"},
    Letters{0xC0,
        U"aaaaaaæceeeeiiiiðnooooo×øuuuuyþßaaaaaaæceeeeiiiiðnooooo÷øuuuuyþyaaaaaaccccccccdd"
        U"đđeeeeeeeeeegggggggghhħħiiiiiiiiiıĳĳjjkkĸllllllŀŀłłnnnnnnŉŋŋooooooœœrrrrrrssssss"
        U"ssttttŧŧuuuuuuuuuuuuwwyyyzzzzzzsƀɓƃƃƅƅɔƈƈɖɗƌƌƍǝəɛƒƒɠɣƕɩɨƙƙƚƛɯɲƞɵooƣƣƥƥʀƨƨʃƪƫƭƭʈu"
        U"uʊʋƴƴƶƶʒƹƹƺƻƽƽƾƿǀǁǂǃǆǆǆǉǉǉǌǌǌaaiioouuuuuuuuuuǝaaaaææǥǥggkkooooʒʒjǳǳǳggƕƿnnaaææøø"
        U"aaaaeeeeiiiioooorrrruuuussttȝȝhhƞȡȣȣȥȥaaeeooooooooyyȴȵȶȷȸȹⱥȼȼƚⱦȿɀɂɂƀʉʌɇɇɉɉɋɋɍɍɏɏ"},
    Letters{0x386,
        U"α·εηι_ο_υωιαβγδεζηθικλμνξοπρ_στυφχψωιυαεηιυαβγδεζηθικλμνξοπρσστυφχψωιυουωϗβθϒϒϒφ"
        U"πϗϙϙϛϛϝϝϟϟϡϡϣϣϥϥϧϧϩϩϫϫϭϭϯϯκρϲϳθε϶ϸϸϲϻϻϼͻͼͽ"},
    Letters{0x400,
        U"ееђгєѕііјљњћкиуџабвгдежзииклмнопрстуфхцчшщъыьэюяабвгдежзииклмнопрстуфхцчшщъыьэюя"
        U"ееђгєѕііјљњћкиуџѡѡѣѣѥѥѧѧѩѩѫѫѭѭѯѯѱѱѳѳѵѵѵѵѹѹѻѻѽѽѿѿҁҁ҂_______ҋҋҍҍҏҏґґғғҕҕҗҗҙҙққҝҝҟҟ"
        U"ҡҡңңҥҥҧҧҩҩҫҫҭҭүүұұҳҳҵҵҷҷҹҹһһҽҽҿҿӏжжӄӄӆӆӈӈӊӊӌӌӎӎӏааааӕӕееәәәәжжззӡӡииииооөөөөээуу"
        U"ууууччӷӷыыӻӻӽӽӿӿԁԁԃԃԅԅԇԇԉԉԋԋԍԍԏԏԑԑԓԓԕԕԗԗԙԙԛԛԝԝԟԟԡԡԣԣԥԥԧԧԩԩԫԫԭԭԯԯ"},
    Letters{0x622, U"ااواي"},
    Letters{0x304B,
        U"かかききくくけけここささししすすせせそそたたちちっつつててととなにぬねのはははひ"
        U"ひひふふふへへへほほほまみむめもゃやゅゆょよらりるれろゎわゐゑをんうゕゖ____"
        U"゛゜ゝゝゟ゠ァアィイゥウェエォオカカキキククケケココササシシススセセソソタタチチ"
        U"ッツツテテトトナニヌネノハハハヒヒヒフフフヘヘヘホホホマミムメモャヤュユョヨラリ"
        U"ルレロヮワヰヱヲンウヵヶワヰヱヲ・ーヽヽ"},
    Letters{0x1E00,
        U"aabbbbbbccddddddddddeeeeeeeeeeffgghhhhhhhhhhiiiikkkkkkllllllllmmmmmmnnnnnnnnoooo"
        U"oooopppprrrrrrrrssssssssssttttttttuuuuuuuuuuvvvvwwwwwwwwwwxxxxyyzzzzzzhtwyẚsẜẝßẟ"
        U"aaaaaaaaaaaaaaaaaaaaaaaaeeeeeeeeeeeeeeeeiiiioooooooooooooooooooooooouuuuuuuuuuuu"
        U"uuyyyyyyyyỻỻỽỽỿỿ"},
    Letters{0x1F00,
        U"ααααααααααααααααεεεεεε__εεεεεε__ηηηηηηηηηηηηηηηηιιιιιιιιιιιιιιιιοοοοοο__οοοοοο__"
        U"υυυυυυυυ_υ_υ_υ_υωωωωωωωωωωωωωωωωααεεηηιιοουυωω__ααααααααααααααααηηηηηηηηηηηηηηηη"
        U"ωωωωωωωωωωωωωωωωααααα_ααααααα᾽ι᾿῀¨ηηη_ηηεεηηη᾿᾿᾿ιιιι__ιιιιιι_῾῾῾υυυυρρυυυυυυρ¨¨`"
        U"__ωωω_ωωοοωωω"}};
// clang-format on

struct Range {
  char32_t first, last;
};
/// Marks that stand behind the letter which they belong to.
constexpr std::array kMarks{Range{0x300, 0x36F},   Range{0x483, 0x487},   Range{0x653, 0x655},
                            Range{0x1AB0, 0x1AFF}, Range{0x1DC0, 0x1DFF}, Range{0x20D0, 0x20FF},
                            Range{0x3099, 0x309A}, Range{0xFE20, 0xFE2F}};

bool is_mark(char32_t code) {
  return std::any_of(kMarks.begin(), kMarks.end(),
                     [&](const Range& row) { return code >= row.first && code <= row.last; });
}

char32_t plain(char32_t code) {
  for (const Letters& row : kLetters) {
    if (code < row.first || code >= row.first + row.plain.size()) continue;
    const char32_t letter = row.plain[code - row.first];
    return letter == '_' ? code : letter;
  }
  switch (code) {
    case 0x2126:  // ohm, kelvin and angstrom: letters all the same
      return U'ω';
    case 0x212A:
      return 'k';
    case 0x212B:
      return 'a';
    default:
      return code;
  }
}

/// A syllable is two or three letters (The Unicode Standard, section 3.12).
void add_hangul(char32_t syllable, std::u32string& key) {
  constexpr char32_t kTails = 28;
  constexpr char32_t kOfOneLead = 21 * kTails;
  key += static_cast<char32_t>(0x1100 + syllable / kOfOneLead);
  key += static_cast<char32_t>(0x1161 + syllable % kOfOneLead / kTails);
  if (syllable % kTails > 0) key += static_cast<char32_t>(0x11A7 + syllable % kTails);
}

}  // namespace

std::u32string name_key(std::string_view name) {
  constexpr char32_t kFirstSyllable = 0xAC00;
  constexpr char32_t kLastSyllable = 0xD7A3;
  std::u32string key;
  while (!name.empty()) {
    const Utf8Letter letter = first_letter(name);
    name.remove_prefix(letter.bytes);
    if (is_mark(letter.code)) continue;
    if (letter.code >= kFirstSyllable && letter.code <= kLastSyllable) {
      add_hangul(letter.code - kFirstSyllable, key);
    } else if (letter.code == U'ß' || letter.code == U'ẞ') {
      key += U"ss";
    } else {
      key += plain(letter.code);
    }
  }
  return key;
}

}  // namespace kilter
