#pragma once

#include <string>

#include "kilter/media/broadcast_notes.h"

namespace kilter::media {

struct IxmlFormat {
  int rate_hz{0};
  int bits{0};
  int channels{0};
};

/// What an `iXML` chunk holds: an XML document in UTF-8, filled up to a multiple of four bytes with
/// line ends.
std::string ixml_text(const BroadcastNotes& notes, const IxmlFormat& format);

}  // namespace kilter::media
