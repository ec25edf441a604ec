#include "gateway/telemetry/recording.h"

#include "tests/fuzz/promises.h"
#include "tests/fuzz/targets.h"

namespace driftline::fuzz {
namespace {

void hold_round_trip(const Message& message) {
  std::string line;
  append_record(line, message);
  hold(line.find('\n') == std::string::npos, "one line");
  Message back;
  hold(!read_record(line, back), "what is written can be read");
  hold(back.received == message.received && back.payload == message.payload, "and is the same to the byte");
  hold(back.topic == message.topic || !is_utf8(message.topic), "its topic too, if it is text");
}

}  // namespace

void record(std::string_view bytes) {
  Message message;
  if (const auto fault = read_record(bytes, message)) {
    hold_fault(*fault);
    hold(fault->code == FaultCode::unreadable_record, "its one code");
  } else {
    const std::int64_t ms = ms_since_1970(message.received);
    // A local time with an offset may lie just outside the years that can be written.
    if (ms >= -62'167'219'200'000 && ms <= 253'402'300'799'999) hold_round_trip(message);
  }
  const std::size_t half = bytes.size() / 4;
  hold_round_trip({time_from_ms(1'772'344'800'500), std::string(bytes.substr(0, half)), std::string(bytes.substr(half))});
  hold_round_trip({time_from_ms(0), "t", std::string(bytes)});
}

}  // namespace driftline::fuzz
