// "We are wrong": an invariant of the program does not hold. Never for checking input.
#pragma once

#include <stdexcept>
#include <string>

namespace driftline {

// Thrown by `require` only, caught only at the edge of a station's fold and by the owners of the journal and the history.
class BrokenInvariant : public std::logic_error {
 public:
  using std::logic_error::logic_error;
};

// `text` says what must hold: "half-cycles of a line do not overlap".
inline void require(bool holds, const char* text) {
  if (!holds) throw BrokenInvariant(text);
}

}  // namespace driftline
