#include "gateway/telemetry/mapped.h"

#include "tests/fuzz/promises.h"
#include "tests/fuzz/targets.h"

namespace driftline::fuzz {
namespace {

std::vector<Mapping> mappings() {
  Mapping nested;
  nested.name = "nested";
  nested.topic = "a/{site}/{station}/+";
  nested.samples = "/data";
  nested.sample.time = MappedField{"/ts", "s"};
  nested.sample.seq = MappedField{"/n", ""};
  nested.sample.pump = MappedSwitch{"/run", {"RUN", "1"}, {"STOP", "0"}};
  nested.sample.line = MappedField{"/valve", "", 1, 1};
  nested.sample.line_pressures = {{"/p/0", "psi"}, {"/p/1", "psi"}};
  nested.sample.level = MappedField{"/tank", "1"};
  nested.sample.level_low = MappedSwitch{"/low"};
  nested.sample.temp = MappedField{"/t", "F"};
  Mapping flat;
  flat.name = "flat";
  flat.topic = "b/{station}";
  flat.site = "yard";
  flat.sample.time = MappedField{"/time", ""};
  flat.sample.pressures = MappedField{"/bar", "kPa"};
  Mapping settings;
  settings.topic = "c/{site}/{station}";
  settings.kind = TopicKind::settings;
  settings.settings.cycle = MappedField{"/cycle", "min"};
  settings.settings.target = MappedField{"/target", "kPa"};
  settings.settings.residual = MappedField{"/residual", "kPa"};
  settings.settings.lines = MappedField{"/lines", ""};
  Mapping presence;
  presence.topic = "d/{site}/{station}";
  presence.kind = TopicKind::presence;
  presence.online = MappedSwitch{"", {"up", "1"}, {"down", "0"}};
  return {nested, flat, settings, presence};
}

}  // namespace

void mapped(std::string_view bytes) {
  static MappedDecoder decoder = std::move(*MappedDecoder::make(mappings()));
  static Decoded out;
  for (std::size_t mapping = 0; mapping < 4; ++mapping) {
    decoder.decode(mapping, bytes, time_from_ms(1'772'344'800'500), out);
    hold_decoded(out);
    hold(!out.presence || mapping == 3, "presence comes from presence only");
  }
  if (const auto match = decoder.match(bytes)) {
    hold(match->outcome.topic.has_value() != match->outcome.fault.has_value(), "a topic or a fault");
    if (match->outcome.fault) hold_fault(*match->outcome.fault);
  }
}

}  // namespace driftline::fuzz
