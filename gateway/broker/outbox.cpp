#include "gateway/broker/outbox.h"

#include <algorithm>
#include <map>
#include <memory>
#include <optional>
#include <set>

#include "gateway/broker/events.h"
#include "gateway/broker/topics.h"
#include "gateway/history/reader.h"
#include "gateway/history/row_text.h"

namespace driftline::broker {
namespace {

using history::CursorMark;
using history::Feed;

void drop_line_end(std::string& text) {
  if (!text.empty() && text.back() == '\n') text.pop_back();
}

template <class Row>
std::string body_of(const Row& row) {
  std::string text;
  append_row(text, row);
  drop_line_end(text);
  return text;
}

class Cursor {
 public:
  Cursor(history::History& history, std::string root) : history_(history), root_(std::move(root)) {}

  OutboxPage next(std::size_t rows_max) {
    OutboxPage page;
    given_.clear();
    if (!ready()) return page;
    add(page, rows_max, Feed::warnings, &history::Reader::warnings_after);
    add(page, rows_max, Feed::half_cycles, &history::Reader::half_cycles_after);
    add(page, rows_max, Feed::reservoir_days, &history::Reader::reservoir_days_after);
    add(page, rows_max, Feed::forecast_days, &history::Reader::forecast_days_after);
    changed_.clear();
    add(page, rows_max, Feed::life_changes, &history::Reader::life_changes_after);
    add_lives(page);
    return page;
  }

  // A broker may have come back without its store: what is open is retained there again.
  std::vector<Outgoing> standing() {
    std::vector<Outgoing> messages;
    if (!ready()) return messages;
    auto rows = reader_->open_warnings();
    if (!rows) return fail(rows.error()), messages;
    for (const auto& stored : *rows) {
      const WarningChange& row = stored.row;
      messages.push_back({warning_topic(root_, {row.station, row.line, row.condition}), body_of(row), true});
    }
    auto lives = reader_->lives();
    if (!lives) return fail(lives.error()), messages;
    for (const auto& stored : *lives) messages.push_back(life_message(root_, stored.row));
    return messages;
  }

  void confirmed() {
    if (given_.empty()) return;
    const auto moved = history_.advance(std::string(mqtt_cursor), given_);
    if (!moved) return fail(moved.error());
    for (const CursorMark& mark : given_) marks_[mark.feed] = mark.id;
  }

 private:
  // False: cannot be read now.
  bool ready() {
    if (reader_) return true;
    auto opened = history::Reader::open(history_.file());
    if (!opened) return fail(opened.error()), false;
    auto marks = (*opened)->cursor(std::string(mqtt_cursor));
    if (!marks) return fail(marks.error()), false;
    for (const CursorMark& mark : *marks) marks_[mark.feed] = mark.id;
    reader_ = std::move(*opened);
    return true;
  }

  void fail(const history::Trouble& trouble) {
    events::outbox_unreadable(name_of(trouble.cause), trouble.text);
    reader_.reset();  // with the marks read anew
  }

  template <class Ask>
  void add(OutboxPage& page, std::size_t rows_max, Feed feed, Ask ask) {
    if (!reader_ || page.rows >= rows_max) return;
    auto rows = ((*reader_).*ask)(marks_[feed], static_cast<int>(rows_max - page.rows));
    if (!rows) return fail(rows.error());
    for (const auto& stored : *rows) {
      append_messages(page.messages, root_, stored.row);
      note_life(stored.row);
    }
    page.rows += rows->size();
    if (!rows->empty()) given_.push_back({feed, rows->back().id});
  }

  template <class Row>
  void note_life(const Row&) {}
  void note_life(const history::LifeChange& row) { changed_[row.warning.station].insert(row.warning); }

  // A row of a change does not hold all of a state, and the changes that follow it may be on the page too.
  void add_lives(OutboxPage& page) {
    for (const auto& [station, warnings] : changed_) {
      if (!reader_) break;
      auto lives = reader_->lives_of(station);
      if (!lives) {
        fail(lives.error());
        break;
      }
      std::set<history::WarningRef> normal = warnings;
      for (const auto& stored : *lives) {
        if (normal.erase(history::ref_of(stored.row.last)) > 0) page.messages.push_back(life_message(root_, stored.row));
      }
      for (const auto& ref : normal)
        page.messages.push_back({life_topic(root_, {ref.station, ref.line, ref.condition}), std::string(), true});
    }
    if (!reader_) page = {}, given_.clear();  // told again, and whole, once it can be read
  }

  history::History& history_;
  const std::string root_;
  std::unique_ptr<history::Reader> reader_;
  std::map<Feed, std::int64_t> marks_;
  std::vector<CursorMark> given_;
  std::map<StationId, std::set<history::WarningRef>> changed_;  // of the page: whose life
};

}  // namespace

history::CursorUse mqtt_cursor_use() {
  return {.name = std::string(mqtt_cursor),
          .feeds = {Feed::half_cycles, Feed::warnings, Feed::reservoir_days, Feed::forecast_days,
                    Feed::life_changes},
          .from_beginning = true};
}

Outbox history_outbox(history::History& history, std::string output_root) {
  const auto cursor = std::make_shared<Cursor>(history, std::move(output_root));
  return {[cursor](std::size_t rows_max) { return cursor->next(rows_max); },
          [cursor] { cursor->confirmed(); }, [cursor] { return cursor->standing(); }};
}

void append_messages(std::vector<Outgoing>& out, std::string_view root, const history::HalfCycleRow& row) {
  std::string text;
  append_row(text, row.station, row.half_cycle);
  drop_line_end(text);
  out.push_back({half_cycles_topic(root, row.station), std::move(text), false});
}

void append_messages(std::vector<Outgoing>& out, std::string_view root, const WarningChange& row) {
  std::string text = body_of(row);
  const std::string state = warning_topic(root, {row.station, row.line, row.condition});
  out.push_back({state, row.change == Change::cleared ? std::string() : text, true});
  out.push_back({changes_topic(root, row.station), std::move(text), false});
}

void append_messages(std::vector<Outgoing>& out, std::string_view root, const ReservoirDay& row) {
  out.push_back({reservoir_topic(root, row.station), body_of(row), true});
}

void append_messages(std::vector<Outgoing>& out, std::string_view root, const ForecastDay& row) {
  out.push_back({forecast_topic(root, {row.station, row.line, row.condition}), body_of(row), false});
}

void append_messages(std::vector<Outgoing>& out, std::string_view root, const history::LifeChange& row) {
  out.push_back({life_changes_topic(root, row.warning.station), body_of(row), false});
}

Outgoing life_message(std::string_view root, const history::LifeRow& life) {
  const history::WarningRef ref = history::ref_of(life.last);
  return {life_topic(root, {ref.station, ref.line, ref.condition}), body_of(life), true};
}

}  // namespace driftline::broker
