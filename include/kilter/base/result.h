// Errors as values. A broken file among six is an ordinary outcome that must not stop the other
// five, so it travels in the signature. The shape follows std::expected (C++23).
#pragma once

#include <filesystem>
#include <string>
#include <utility>
#include <variant>

namespace kilter {

enum class ErrorKind {
  bad_command,   ///< the command line is wrong; nothing was done
  no_input,      ///< nothing usable among the inputs
  unreadable,    ///< one input cannot be read
  cannot_write,  ///< an output cannot be written
  interrupted,   ///< the user stopped the program
  bug            ///< ours
};

/// What went wrong, with which file (may be empty), and what the user can do next.
/// `what` and `next_step` are sentences without a capital and without a full stop.
struct Error {
  ErrorKind kind{ErrorKind::bug};
  std::filesystem::path file;
  std::string what;
  std::string next_step;
};

template <typename T>
class [[nodiscard]] Result {
 public:
  Result(T value) : state_(std::in_place_index<0>, std::move(value)) {}  // NOLINT: as std::expected
  Result(Error error) : state_(std::in_place_index<1>, std::move(error)) {}  // NOLINT

  explicit operator bool() const { return state_.index() == 0; }
  T& operator*() & { return std::get<0>(state_); }
  const T& operator*() const& { return std::get<0>(state_); }
  T&& operator*() && { return std::get<0>(std::move(state_)); }
  T* operator->() { return &std::get<0>(state_); }
  const T* operator->() const { return &std::get<0>(state_); }
  const Error& error() const& { return std::get<1>(state_); }
  Error&& error() && { return std::get<1>(std::move(state_)); }

 private:
  std::variant<T, Error> state_;
};

template <>
class [[nodiscard]] Result<void> {
 public:
  Result() = default;
  Result(Error error) : state_(std::in_place_index<1>, std::move(error)) {}  // NOLINT

  explicit operator bool() const { return state_.index() == 0; }
  const Error& error() const& { return std::get<1>(state_); }
  Error&& error() && { return std::get<1>(std::move(state_)); }

 private:
  std::variant<std::monostate, Error> state_;
};

}  // namespace kilter
