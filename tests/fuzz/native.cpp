#include "gateway/telemetry/not_json.h"
#include "tests/fuzz/promises.h"
#include "tests/fuzz/targets.h"

namespace driftline::fuzz {

void native(std::string_view bytes) {
  static NativeDecoder reused;
  static Decoded out;
  const Time received = time_from_ms(1'772'344'800'500);
  for (const TopicKind kind : {TopicKind::telemetry, TopicKind::settings, TopicKind::presence, TopicKind::service}) {
    reused.decode(kind, bytes, received, out);
    hold_decoded(out);
    hold(out.samples.empty() || kind == TopicKind::telemetry, "samples come from telemetry only");
    hold(!out.note || out.note->note.size() <= telemetry_limits::note_bytes_max, "notes are cut");
    NativeDecoder fresh;
    Decoded again;
    fresh.decode(kind, bytes, received, again);
    hold(same(out, again), "a decoder's past does not matter");
    fresh.decode_any(kind, bytes, received, again);
    hold(same(out, again), "the short way gives the same answer");
    const bool refused = !out.faults.empty() && (out.faults[0].code == FaultCode::not_json || out.faults[0].code == FaultCode::too_deep);
    if (!refused && bytes.size() < 10'000 && out.faults.empty()) {
      hold(!first_offence(bytes), "what is taken without a fault is strict JSON");
    }
  }
  const auto topic = read_topic("grease", bytes);
  hold(topic.topic.has_value() != topic.fault.has_value(), "a topic or a fault");
  if (topic.fault) hold_fault(*topic.fault);
}

}  // namespace driftline::fuzz
