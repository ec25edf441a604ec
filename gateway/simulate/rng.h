// Random numbers that are the same in every build: splitmix64 (Steele, Lea, Flood, OOPSLA 2014; constants from memory).
#pragma once

#include <cmath>
#include <cstdint>
#include <string_view>

namespace driftline::simulate {

class Rng {
 public:
  explicit Rng(std::uint64_t seed) : state_(seed) {}

  std::uint64_t next() {
    state_ += 0x9E3779B97F4A7C15ULL;
    std::uint64_t z = state_;
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ULL;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBULL;
    return z ^ (z >> 31);
  }
  double uniform() { return static_cast<double>(next() >> 11) * 0x1.0p-53; }  // [0, 1)
  double between(double low, double high) { return low + (high - low) * uniform(); }
  int whole(int low, int high) { return low + static_cast<int>(next() % static_cast<std::uint64_t>(high - low + 1)); }
  bool chance(double share) { return uniform() < share; }
  double exponential(double mean) { return -mean * std::log(1 - uniform()); }
  // Four 16-bit uniforms summed: normal enough for noise, tails end at 3.46 sigma.
  double normal() {
    const std::uint64_t z = next();
    const double sum = static_cast<double>((z & 0xFFFF) + ((z >> 16) & 0xFFFF) + ((z >> 32) & 0xFFFF) + (z >> 48));
    return (sum / 65536.0 - 2.0 + 2.0 / 65536.0) * 1.7320508075688772;
  }

 private:
  std::uint64_t state_;
};

// A stream of its own for each purpose, so that one more draw here changes nothing there.
[[nodiscard]] inline std::uint64_t seed_for(std::uint64_t seed, std::string_view purpose) {
  std::uint64_t hash = seed ^ 0xCBF29CE484222325ULL;  // FNV-1a
  for (const char c : purpose) hash = (hash ^ static_cast<unsigned char>(c)) * 0x100000001B3ULL;
  return Rng(hash).next();
}

}  // namespace driftline::simulate
