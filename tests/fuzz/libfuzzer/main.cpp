// Entry for libFuzzer; FUZZ_TARGET names one of tests/fuzz/targets.h.
#include <cstddef>
#include <cstdint>

#include "tests/fuzz/targets.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  driftline::fuzz::FUZZ_TARGET(std::string_view(reinterpret_cast<const char*>(data), size));
  return 0;
}
