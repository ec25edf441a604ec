#include "gateway/history/fed_pack.h"

#include <zlib.h>

#include <array>
#include <bit>
#include <cstring>

#include "gateway/history/varint.h"

namespace driftline::history {
namespace {

constexpr char version = 1;
constexpr std::uint64_t kind_mask = 15;
constexpr std::uint64_t signed_note = 8;               // the kinds below are places in FedBody
constexpr std::uint64_t text_bytes_max = 65'536;      // decoders cut notes far below
constexpr std::uint64_t inflated_bytes_max = 1 << 20;  // a bound on what damaged bytes can ask for

enum LevelFlag : unsigned { has_level = 1, has_switch = 2, is_low = 4, has_temp = 8, at_rest = 16, in_thousands = 32 };

using Field = std::optional<double> ControllerSettings::*;
constexpr std::array<Field, 4> setting_fields{&ControllerSettings::cycle_s, &ControllerSettings::pump_limit_s,
                                              &ControllerSettings::target_bar, &ControllerSettings::residual_bar};
constexpr unsigned has_lines = 1U << setting_fields.size();

void put_raw(double number, std::string& out) {
  auto bits = std::bit_cast<std::uint64_t>(number);
  for (int i = 0; i < 8; ++i, bits >>= 8) out.push_back(static_cast<char>(bits & 0xFF));
}

std::optional<double> take_raw(std::string_view& bytes) {
  if (bytes.size() < 8) return std::nullopt;
  std::uint64_t bits = 0;
  for (std::size_t i = 8; i-- > 0;) bits = bits << 8 | static_cast<unsigned char>(bytes[i]);
  bytes.remove_prefix(8);
  return std::bit_cast<double>(bits);
}

std::int64_t wrapped(std::int64_t a, std::int64_t b) {
  return static_cast<std::int64_t>(static_cast<std::uint64_t>(a) + static_cast<std::uint64_t>(b));
}

class Putting {
 public:
  Putting(FedBefore& before, std::string& out) : before_(before), out_(out) {}

  void time(Time time, Time received) {
    const std::int64_t behind = ms_since_1970(time) - ms_since_1970(received);
    put_varint(zigzag(behind - before_.behind_ms), out_);
    before_.behind_ms = behind;
  }
  void level(const LevelReading& r) {
    const auto level = r.level_pct ? in_thousandths(*r.level_pct) : std::optional<std::int64_t>(0);
    const auto temp = r.temp_c ? in_thousandths(*r.temp_c) : std::optional<std::int64_t>(0);
    const bool whole = level && temp;
    out_.push_back(static_cast<char>((r.level_pct ? has_level : 0U) | (r.level_low ? has_switch : 0U) |
                                     (r.level_low.value_or(false) ? is_low : 0U) | (r.temp_c ? has_temp : 0U) |
                                     (r.at_rest ? at_rest : 0U) | (whole ? in_thousands : 0U)));
    if (r.level_pct) figure(*r.level_pct, whole ? level : std::nullopt, before_.level_thousandths);
    if (r.temp_c) figure(*r.temp_c, whole ? temp : std::nullopt, before_.temp_thousandths);
  }
  void settings(const ControllerSettings& s) {
    unsigned mask = s.lines ? has_lines : 0U;
    for (std::size_t i = 0; i < setting_fields.size(); ++i)
      if (s.*setting_fields[i]) mask |= 1U << i;
    out_.push_back(static_cast<char>(mask));
    for (const Field field : setting_fields)
      if (s.*field) put_raw(*(s.*field), out_);
    if (s.lines) put_raw(*s.lines, out_);
  }
  void line(std::optional<int> line) { out_.push_back(static_cast<char>(line ? *line + 1 : 0)); }
  void byte(unsigned value) { out_.push_back(static_cast<char>(value)); }
  void text(std::string_view whole) {
    const std::string_view text = whole.substr(0, text_bytes_max);
    put_varint(text.size(), out_);
    out_.append(text);
  }

 private:
  void figure(double value, std::optional<std::int64_t> whole, std::int64_t& before) {
    if (!whole) return put_raw(value, out_);
    put_varint(zigzag(*whole - before), out_);
    before = *whole;
  }
  FedBefore& before_;
  std::string& out_;
};

class Taking {
 public:
  Taking(FedBefore& before, std::string_view& bytes) : before_(before), bytes_(bytes) {}

  bool time(Time received, Time& to) {
    const auto step = take_varint(bytes_);
    if (!step) return false;
    before_.behind_ms = wrapped(before_.behind_ms, unzigzag(*step));
    to = time_from_ms(wrapped(ms_since_1970(received), before_.behind_ms));
    return true;
  }
  bool level(LevelReading& r) {
    unsigned flags = 0;
    if (!byte(flags)) return false;
    const bool whole = (flags & in_thousands) != 0;
    if ((flags & has_switch) != 0) r.level_low = (flags & is_low) != 0;
    r.at_rest = (flags & at_rest) != 0;
    if ((flags & has_level) != 0 && !figure(whole, before_.level_thousandths, r.level_pct)) return false;
    return (flags & has_temp) == 0 || figure(whole, before_.temp_thousandths, r.temp_c);
  }
  bool settings(ControllerSettings& s) {
    unsigned mask = 0;
    if (!byte(mask)) return false;
    for (std::size_t i = 0; i < setting_fields.size(); ++i)
      if ((mask >> i & 1U) != 0 && !(s.*setting_fields[i] = take_raw(bytes_))) return false;
    if ((mask & has_lines) == 0) return true;
    const auto lines = take_raw(bytes_);
    if (!lines || !(*lines >= 0 && *lines <= lines_max)) return false;
    s.lines = static_cast<int>(*lines);
    return true;
  }
  bool line(std::optional<int>& line) {
    unsigned value = 0;
    if (!byte(value) || value > lines_max + 1U) return false;
    if (value > 0) line = static_cast<int>(value) - 1;
    return true;
  }
  bool text(std::string& to) {
    const auto size = take_varint(bytes_);
    if (!size || *size > text_bytes_max || *size > bytes_.size()) return false;
    to.assign(bytes_.substr(0, *size));
    bytes_.remove_prefix(*size);
    return true;
  }
  bool byte(unsigned& to) {
    const auto taken = take_byte(bytes_);
    if (taken) to = static_cast<unsigned char>(*taken);
    return taken.has_value();
  }
  template <typename Enum>
  bool word(Enum& to, unsigned most) {
    unsigned value = 0;
    if (!byte(value) || value > most) return false;
    to = static_cast<Enum>(value);
    return true;
  }
  bool flag(bool& to) {
    unsigned value = 0;
    if (!byte(value) || value > 1) return false;
    to = value == 1;
    return true;
  }

 private:
  bool figure(bool whole, std::int64_t& before, std::optional<double>& to) {
    if (!whole) return (to = take_raw(bytes_)).has_value();
    const auto step = take_varint(bytes_);
    if (!step) return false;
    before = wrapped(before, unzigzag(*step));
    to = static_cast<double>(before) / 1000.0;
    return true;
  }
  FedBefore& before_;
  std::string_view& bytes_;
};

}  // namespace

void FedPacker::put(const FedEvent& event, std::int64_t half_cycle_id) {
  if (bytes_.empty()) bytes_.push_back(version);
  const std::int64_t received = ms_since_1970(event.received);
  const auto* note = std::get_if<ServiceNote>(&event.body);
  const std::uint64_t kind = note && !note->by.empty() ? signed_note : event.body.index();
  put_varint(kind + (kind_mask + 1) * static_cast<std::uint64_t>(received - before_.received_ms), bytes_);
  before_.received_ms = received;
  if (event.position == settled_by_waiting || event.position == settled_by_the_end) {
    put_varint(event.position == settled_by_waiting ? 0 : 1, bytes_);
  } else {
    put_varint(2 + zigzag(static_cast<std::int64_t>(event.position - before_.position)), bytes_);
    before_.position = event.position;
  }
  struct Visitor {
    Putting put;
    Time received;
    std::int64_t half_cycle_id;
    FedBefore& before;
    std::string& out;
    void operator()(const TurnTold&) {
      put_varint(zigzag(half_cycle_id - before.half_cycle_id), out);
      before.half_cycle_id = half_cycle_id;
    }
    void operator()(const LevelReading& r) {
      put.time(r.time, received);
      put.level(r);
    }
    void operator()(const ServiceNote& n) {
      put.time(n.time, received);
      put.byte(static_cast<unsigned>(n.kind));
      put.line(n.line);
      put.text(n.note);
      if (!n.by.empty()) put.text(n.by);
    }
    void operator()(const SettingsChange& c) {
      put.time(c.time, received);
      put.settings(c.before);
      put.settings(c.after);
    }
    void operator()(const PresenceChange& p) {
      put.time(p.time, received);
      put.byte(p.online ? 1 : 0);
    }
    void operator()(const SensorReport& s) {
      put.time(s.time, received);
      put.line(s.line);
      put.byte(static_cast<unsigned>(s.trouble));
      put.byte(s.over ? 1 : 0);
    }
    void operator()(const Heartbeat& h) { put.time(h.time, h.received); }
    void operator()(const UnusableMessage&) {}
  };
  std::visit(Visitor{Putting(before_, bytes_), event.received, half_cycle_id, before_, bytes_}, event.body);
  ++count_;
}

FedUnpacker::FedUnpacker(std::string_view bytes) : bytes_(bytes) {
  const auto first = take_byte(bytes_);
  if (first == version) return;
  damaged_ = true;
  bytes_ = {};
}

bool FedUnpacker::next(StoredFedEvent& event) {
  if (bytes_.empty() || damaged_) return false;
  damaged_ = !read(event);
  return !damaged_;
}

bool FedUnpacker::read(StoredFedEvent& stored) {
  const auto head = take_varint(bytes_);
  const auto place = take_varint(bytes_);
  if (!head || !place) return false;
  before_.received_ms = wrapped(before_.received_ms, static_cast<std::int64_t>(*head / (kind_mask + 1)));
  FedEvent& event = stored.event;
  event.received = time_from_ms(before_.received_ms);
  if (*place >= 2) before_.position += static_cast<std::uint64_t>(unzigzag(*place - 2));
  event.position = *place == 0 ? settled_by_waiting : *place == 1 ? settled_by_the_end : before_.position;
  stored.half_cycle_id = 0;
  Taking take(before_, bytes_);
  switch (*head & kind_mask) {
    case 0: {
      event.body.emplace<TurnTold>();
      const auto step = take_varint(bytes_);
      if (!step) return false;
      stored.half_cycle_id = before_.half_cycle_id = wrapped(before_.half_cycle_id, unzigzag(*step));
      return true;
    }
    case 1: {
      auto& r = event.body.emplace<LevelReading>();
      return take.time(event.received, r.time) && take.level(r);
    }
    case 2:
    case signed_note: {
      auto& n = event.body.emplace<ServiceNote>();
      if (!take.time(event.received, n.time) || !take.word(n.kind, 5) || !take.line(n.line) || !take.text(n.note)) return false;
      return (*head & kind_mask) == 2 || take.text(n.by);
    }
    case 3: {
      auto& c = event.body.emplace<SettingsChange>();
      return take.time(event.received, c.time) && take.settings(c.before) && take.settings(c.after);
    }
    case 4: {
      auto& p = event.body.emplace<PresenceChange>();
      return take.time(event.received, p.time) && take.flag(p.online);
    }
    case 5: {
      auto& s = event.body.emplace<SensorReport>();
      return take.time(event.received, s.time) && take.line(s.line) && take.word(s.trouble, 2) && take.flag(s.over);
    }
    case 6: {
      auto& h = event.body.emplace<Heartbeat>();
      h.received = event.received;
      return take.time(event.received, h.time);
    }
    case 7: event.body.emplace<UnusableMessage>().received = event.received; return true;
    default: return false;
  }
}

std::string deflated(std::string_view bytes) {
  std::string out;
  put_varint(bytes.size(), out);
  const std::size_t head = out.size();
  uLongf size = compressBound(bytes.size());
  out.resize(head + size);
  const auto* from = reinterpret_cast<const Bytef*>(bytes.data());  // NOLINT: zlib's type
  auto* to = reinterpret_cast<Bytef*>(out.data() + head);           // NOLINT: zlib's type
  if (compress2(to, &size, from, bytes.size(), 6) != Z_OK) return {};
  out.resize(head + size);
  return out;
}

std::optional<std::string> inflated(std::string_view bytes) {
  const auto length = take_varint(bytes);
  if (!length || *length > inflated_bytes_max) return std::nullopt;
  std::string out(*length, '\0');
  uLongf size = out.size();
  const auto* from = reinterpret_cast<const Bytef*>(bytes.data());  // NOLINT: zlib's type
  auto* to = reinterpret_cast<Bytef*>(out.data());                  // NOLINT: zlib's type
  if (uncompress(to, &size, from, bytes.size()) != Z_OK || size != out.size()) return std::nullopt;
  return out;
}

}  // namespace driftline::history
