// Loops that use the vector instructions of the processor at hand, with the same bits on all.
#pragma once

#include <cstring>

// KILTER_WIDE before a function compiles it a second time for wider registers, chosen when the
// program starts. Every value is computed by the same operations in the same order (no fused
// multiply-add: contraction is off), so the choice does not show in the result. For functions with
// long loops over arrays: they are not inlined. Elsewhere, and under sanitizers, whose runtime
// starts later than the choice, nothing changes.
#if defined(__x86_64__) && defined(__ELF__) && defined(__GNUC__) && !defined(__clang__) && \
    !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
#define KILTER_WIDE __attribute__((target_clones("avx2", "default")))
#else
#define KILTER_WIDE
#endif

namespace kilter {

/// Values that are computed side by side, whatever the processor's own width (GCC's and Clang's
/// vector extension). Never passed by value: how that is done depends on the processor.
using Float8 = float __attribute__((vector_size(32)));
using Float4 = float __attribute__((vector_size(16)));
using Double4 = double __attribute__((vector_size(32)));

/// From and to any place in an array.
template <typename Lanes, typename T>
[[gnu::always_inline]] inline void load(const T* from, Lanes& to) {
  std::memcpy(&to, from, sizeof to);
}
template <typename Lanes, typename T>
[[gnu::always_inline]] inline void store(const Lanes& from, T* to) {
  std::memcpy(to, &from, sizeof from);
}

}  // namespace kilter
