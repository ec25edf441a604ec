// What is thrown at the readers of foreign bytes. Each target throws Violated when an answer breaks what its header promises;
// anything else that escapes, and every sanitizer's word, is a find as well. Run by replay_test.cpp over the corpus and
// mutations of it in every build, and by libFuzzer (clang, -DDRIFTLINE_FUZZ=ON) for as long as one likes:
//   CC=clang CXX=clang++ cmake -S . -B .build/fuzz -G Ninja -DDRIFTLINE_FUZZ=ON -DDRIFTLINE_SANITIZE=address,undefined
//   ninja -C .build/fuzz fuzz_native && .build/fuzz/tests/fuzz_native -max_total_time=60 tests/fuzz/corpus/native
// A crash becomes a file of the corpus.
#pragma once

#include <stdexcept>
#include <string>
#include <string_view>

namespace driftline::fuzz {

struct Violated : std::logic_error {
  using std::logic_error::logic_error;
};

inline void hold(bool promise, const char* what) {
  if (!promise) throw Violated(what);
}

void native(std::string_view bytes);     // topics and payloads of all kinds
void mapped(std::string_view bytes);     // a payload through mappings
void sparkplug(std::string_view bytes);  // a conversation: type, length, payload, again
void record(std::string_view bytes);     // a line of a recording, and a message written as one

}  // namespace driftline::fuzz
