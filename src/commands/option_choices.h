// Texts that options take, and what they mean.
#pragma once

#include <array>
#include <string>
#include <vector>

#include "kilter/conform/conform.h"

namespace kilter::commands {

template <typename Value>
struct Choice {
  const char* text;
  Value value;
};

inline constexpr std::array kRanges{
    Choice<conform::StemRange>{"mix", conform::StemRange::mix},
    Choice<conform::StemRange>{"all", conform::StemRange::all},
    Choice<conform::StemRange>{"shared", conform::StemRange::shared}};
inline constexpr std::array kBits{Choice<media::SampleFormat>{"16", media::SampleFormat::pcm16},
                                  Choice<media::SampleFormat>{"24", media::SampleFormat::pcm24},
                                  Choice<media::SampleFormat>{"32f", media::SampleFormat::float32}};
inline constexpr std::array kContainers{Choice<media::Container>{"wav", media::Container::wav},
                                        Choice<media::Container>{"rf64", media::Container::rf64},
                                        Choice<media::Container>{"flac", media::Container::flac}};

std::vector<std::string> texts_of(const auto& choices) {
  std::vector<std::string> texts;
  texts.reserve(choices.size());
  for (const auto& choice : choices) texts.emplace_back(choice.text);
  return texts;
}

/// The value of a text that is one of `choices`.
auto value_of(const std::string& text, const auto& choices) {
  for (const auto& choice : choices)
    if (text == choice.text) return choice.value;
  return choices.front().value;
}

}  // namespace kilter::commands
