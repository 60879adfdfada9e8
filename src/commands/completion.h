// What shells offer behind `kilter`.
#pragma once

#include <string>

namespace kilter::commands {

/// For bash from 3.2, with or without the bash-completion package.
std::string bash_completion();
/// A file _kilter, to lie in a folder of $fpath.
std::string zsh_completion();
/// A file kilter.fish.
std::string fish_completion();

}  // namespace kilter::commands
