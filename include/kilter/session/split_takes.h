// Files that are one take: a recorder ended one when it was full and went on in the next.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "kilter/media/file_ends.h"
#include "kilter/session/session.h"

namespace kilter::session {

/// How many files lie between two (names without folders) that differ in one number only, as a
/// recorder counts: 0 for "rec_0001.wav" and "rec_0002.wav", 2 for "rec_0001.wav" and
/// "rec_0004.wav". Nothing for names that differ otherwise, or count down. Case aside.
std::optional<long> files_between(std::string_view first, std::string_view second);

/// How sure it is that `second` goes on where `first` ends, for files numbered in a row: from what
/// both sound like at the joint, and where the sound tells nothing, from time stamps and lengths.
/// Above 0: it does. Mics of one recorder are numbered in a row as well, so equal stamps speak
/// against, and equal lengths unless yet another file goes on from `second`. Formats must be equal,
/// else it is minus infinity.
double joint_score(const media::FileEnds& first, const media::FileEnds& second,
                   bool second_goes_on);

/// Makes one SessionFile of files that are one take, and notes which are only named as if they
/// were: not those that start together by their stamps, as mics of one recorder do. Opens the
/// files that are numbered in a row, to read their ends; leaves alone what session.toml names.
/// Cost: a few milliseconds a file.
void join_split_takes(Session& session);

/// Joins two recordings: `second`'s files go on where `first`'s end. By name; neither may be told
/// of in session.toml.
void join(const NumberedPair& pair, Session& session);

}  // namespace kilter::session
