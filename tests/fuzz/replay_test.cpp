// Every target over its corpus and over mutations of it, in every build; the same ones each time.
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <vector>

#include "tests/fuzz/targets.h"

namespace driftline::fuzz {
namespace {

namespace fs = std::filesystem;

std::vector<std::string> corpus(const std::string& name) {
  std::vector<fs::path> files;
  for (const auto& entry : fs::directory_iterator(fs::path(DRIFTLINE_SOURCE_DIR) / "tests" / "fuzz" / "corpus" / name)) files.push_back(entry.path());
  std::sort(files.begin(), files.end());
  std::vector<std::string> out;
  for (const fs::path& file : files) {
    std::ostringstream text;
    text << std::ifstream(file, std::ios::binary).rdbuf();
    out.push_back(text.str());
  }
  return out;
}

// SplitMix64: small, and the same on every machine.
struct Random {
  std::uint64_t state;
  std::uint64_t next() {
    std::uint64_t z = state += 0x9E3779B97F4A7C15U;
    z = (z ^ (z >> 30U)) * 0xBF58476D1CE4E5B9U;
    z = (z ^ (z >> 27U)) * 0x94D049BB133111EBU;
    return z ^ (z >> 31U);
  }
  std::size_t below(std::size_t bound) { return bound == 0 ? 0 : static_cast<std::size_t>(next() % bound); }
};

std::string mutated(const std::vector<std::string>& seeds, Random& random) {
  static const std::vector<std::string> pieces{"{", "}", "[", "]", ",", ":", "\"", "\\", "\\u0000", "\\ud800", "null", "NaN", "1e999", "-0", "9223372036854775808",
                                               "1e-400", std::string(1, '\0'), "\xff", "\xC3\xA4", "\xED\xA0\x80", "\x7f", "\"time\":", "\"pressure_bar\":", "-", "0", " ", "\n"};
  std::string out = seeds[random.below(seeds.size())];
  for (std::size_t changes = 1 + random.below(4); changes > 0; --changes) {
    const std::size_t at = random.below(out.size() + 1);
    switch (random.below(6)) {
      case 0: out.insert(at, pieces[random.below(pieces.size())]); break;
      case 1: if (at < out.size()) out[at] = static_cast<char>(random.next()); break;
      case 2: out.erase(at, random.below(9)); break;
      case 3: out.resize(at); break;
      case 4: out.insert(at, out.substr(random.below(out.size() + 1), random.below(40))); break;
      default: {
        const std::string& other = seeds[random.below(seeds.size())];
        out = out.substr(0, at) + other.substr(random.below(other.size() + 1));
      }
    }
    if (out.size() > 20'000) out.resize(20'000);
  }
  return out;
}

void run(const std::string& name, void (*target)(std::string_view), std::size_t mutations) {
  const std::vector<std::string> seeds = corpus(name);
  ASSERT_GE(seeds.size(), 4U);
  for (const std::string& seed : seeds) ASSERT_NO_THROW(target(seed)) << seed.substr(0, 300);
  Random random{1};
  for (std::size_t i = 0; i < mutations; ++i) {
    const std::string input = mutated(seeds, random);
    try {
      // A copy of the very size, so that a sanitizer sees the first byte beyond it.
      const std::vector<char> exact(input.begin(), input.end());
      target(std::string_view(exact.data(), exact.size()));
    } catch (const std::exception& error) {
      FAIL() << error.what() << "\nmutation " << i << ": " << testing::PrintToString(input);
    }
  }
}

// Foreign bytes would crash the gateway, or make it say what it promises not to say.
TEST(Fuzz, native_payloads_are_answered_as_promised) { run("native", native, 6000); }
TEST(Fuzz, mapped_payloads_are_answered_as_promised) { run("mapped", mapped, 6000); }
TEST(Fuzz, sparkplug_conversations_are_answered_as_promised) { run("sparkplug", sparkplug, 6000); }
TEST(Fuzz, recorded_lines_are_answered_as_promised) { run("record", record, 6000); }

TEST(Fuzz, a_broken_promise_is_seen) {
  // The targets could not fail, so they would prove nothing.
  EXPECT_THROW(hold(false, "canary"), Violated);
}

}  // namespace
}  // namespace driftline::fuzz
