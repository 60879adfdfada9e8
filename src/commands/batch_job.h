// One session of a batch.
#pragma once

#include <atomic>
#include <filesystem>

#include "archive.h"
#include "batch_record.h"
#include "options.h"

namespace kilter::commands {

/// Where the result of a session lies: a folder, or with --align-only a lineup.
std::filesystem::path result_path(const Options& batch, const ArchivedSession& session);

/// The files that its result depends on, without digests. Fails as opening them does.
Result<std::vector<InputMark>> inputs_of(const Options& batch, const ArchivedSession& session);
/// What their names are relative to.
std::filesystem::path inputs_folder(const Options& batch, const ArchivedSession& session);
/// Where the sound is that it reads.
std::filesystem::path sound_folder(const Options& batch, const ArchivedSession& session);

/// What holds of a record however the session ends.
BatchRecord started_record(const Options& batch, const ArchivedSession& session, int threads);
/// Now.
std::string record_time();

/// Conforms, aligns or checks it. Whatever goes wrong stands in the record.
BatchRecord do_session(const Options& batch, const ArchivedSession& session, int threads,
                       const std::atomic<bool>& stop);

}  // namespace kilter::commands
