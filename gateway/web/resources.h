// The functions behind the table of routes, by the file that holds them.
#pragma once

#include "gateway/web/routes.h"

namespace driftline::web {

using Reader = history::Reader;

// resource_session.cpp
Or<Answer> session_get(House& house, const Request& request, Reader* reader);
Or<Answer> session_open(House& house, const Request& request, Reader* reader);
Or<Answer> session_close(House& house, const Request& request, Reader* reader);
// resource_fleet.cpp
Or<Answer> fleet_list(House& house, const Request& request, Reader* reader);
Or<Answer> fleet_strips(House& house, const Request& request, Reader* reader);
Or<Answer> fleet_heard(House& house, const Request& request, Reader* reader);
// resource_station.cpp
Or<Answer> station_now(House& house, const Request& request, Reader* reader);
Or<Answer> station_thresholds(House& house, const Request& request, Reader* reader);
Or<Answer> station_forecasts(House& house, const Request& request, Reader* reader);
// resource_turns.cpp
Or<Answer> station_turns(House& house, const Request& request, Reader* reader);
Or<Answer> station_turn(House& house, const Request& request, Reader* reader);
// resource_reservoir.cpp
Or<Answer> station_reservoir(House& house, const Request& request, Reader* reader);
Or<Answer> refill_round(House& house, const Request& request, Reader* reader);
// resource_notes.cpp
Or<Answer> station_notes(House& house, const Request& request, Reader* reader);
Or<Answer> station_note(House& house, const Request& request, Reader* reader);
// resource_chart.cpp
Or<Answer> station_chart(House& house, const Request& request, Reader* reader);
Or<Answer> turn_chart(House& house, const Request& request, Reader* reader);
// resource_warnings.cpp
Or<Answer> warnings_list(House& house, const Request& request, Reader* reader);
Or<Answer> warning_one(House& house, const Request& request, Reader* reader);
Or<Answer> warning_act(House& house, const Request& request, Reader* reader);
// resource_messages.cpp
Or<Answer> messages_list(House& house, const Request& request, Reader* reader);
Or<Answer> warning_who(House& house, const Request& request, Reader* reader);
// resource_confirm.cpp
Or<Answer> confirm_show(House& house, const Request& request, Reader* reader);
Or<Answer> confirm_press(House& house, const Request& request, Reader* reader);
// resource_gateway.cpp
Or<Answer> gateway_now(House& house, const Request& request, Reader* reader);
Or<Answer> api_document(House& house, const Request& request, Reader* reader);
// resource_trial.cpp
Or<Answer> station_trial(House& house, const Request& request, Reader* reader);
Or<Answer> proposals_list(House& house, const Request& request, Reader* reader);
Or<Answer> proposal_new(House& house, const Request& request, Reader* reader);
Or<Answer> proposal_act(House& house, const Request& request, Reader* reader);
// resource_live.cpp
Or<Answer> live_feed(House& house, const Request& request, Reader* reader);

// What they share (answers.cpp).
[[nodiscard]] Answer json_answer(JsonText& json, int status = 200);
[[nodiscard]] bool takes_gzip(const std::string& accept_encoding);
void pack(Answer& answer, const std::string& accept_encoding);  // what is large, for those who can unpack it
[[nodiscard]] Answer csv_answer(std::string text, const std::string& file_name);
[[nodiscard]] tl::unexpected<Problem> of_trouble(const history::Trouble& trouble);
// Of the path, if the station is known.
[[nodiscard]] Or<StationId> station_of(House& house, const Request& request);
// Of the path: the key of a warning, and that warning as it is now.
[[nodiscard]] Or<WarningKey> key_of_path(House& house, const Request& request);
[[nodiscard]] Or<WarningView> find_warning(House& house, Reader& reader, const WarningKey& key);
struct SpanAsked {
  Time from{};
  Time to{};
};
[[nodiscard]] Or<SpanAsked> span_of(House& house, const Request& request, int days_before);
// Who acts: who signed in, else the name that the body gives.
[[nodiscard]] Or<std::string> acting(House& house, const Request& request, const std::optional<std::string>& by);

// CSV (RFC 4180): a field in quotes where it must be; and one that a spreadsheet would take for a formula is kept from it.
void append_csv(std::string& out, std::string_view field, bool last = false);
void append_csv(std::string& out, const std::optional<double>& value, int decimals, bool last = false);
void append_csv(std::string& out, const std::optional<Time>& time, bool last = false);

}  // namespace driftline::web
