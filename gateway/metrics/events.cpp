#include "gateway/metrics/events.h"

#include "gateway/events/events.h"

namespace driftline::metrics::events {

namespace say_of = driftline::events;
using say_of::Level;

void down(const std::string& url, const std::string& why) {
  say_of::say_change(Level::warn, "metrics-down", url, why + "; rows wait in the history");
}

void denied(const std::string& url, const std::string& why) {
  say_of::say(Level::error, "metrics-denied", url, why + "; rows wait in the history until that is put right");
}

void refuses_all(const std::string& url, const std::string& why) {
  say_of::say(Level::error, "metrics-all-refused", url, "no row is taken: " + why);
}

void back(const std::string& url, std::chrono::seconds after, std::int64_t rows_waiting) {
  say_of::say_change(Level::info, "metrics-back", url,
              "after " + std::to_string(after.count()) + " s, " + std::to_string(rows_waiting) + " rows waiting");
}

void lines_taken(std::uint64_t lines) { say_of::count("metrics-lines-taken", "", lines); }

void row_refused_by_us(Refusal refusal, history::Feed feed, std::int64_t row_id) {
  say_of::say(Level::warn, "metrics-row-unfit", name_of(refusal),
              "row " + std::to_string(row_id) + " of " + std::string(history::name_of(feed)) + " is not sent");
}

void row_refused_by_server(history::Feed feed, std::int64_t row_id, const std::string& answer) {
  say_of::say(Level::warn, "metrics-row-refused", history::name_of(feed),
              "row " + std::to_string(row_id) + " is put aside: " + answer);
}

void counter_unfit(Refusal refusal, const std::string&) { say_of::count("metrics-counter-unfit", name_of(refusal)); }

void history_trouble(const history::Trouble& trouble) {
  say_of::say(Level::error, "metrics-history-trouble", history::name_of(trouble.cause), trouble.text);
}

}  // namespace driftline::metrics::events
