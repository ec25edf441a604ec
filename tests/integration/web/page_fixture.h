// The page over a small history, with a clock and a plant of the test's own.
#pragma once

#include <chrono>
#include <memory>
#include <mutex>
#include <set>
#include <string>
#include <vector>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "gateway/history/history.h"
#include "gateway/web/web.h"
#include "tests/integration/web/raw_client.h"
#include "tests/support/temp_folder.h"

namespace driftline::testing {

class PageTest : public ::testing::Test {
 protected:
  PageTest();
  ~PageTest() override;

  // Starts it; with users people must sign in.
  void start(web::WebSettings settings = {});
  [[nodiscard]] int port() const { return web_->port(); }

  [[nodiscard]] RawAnswer get(const std::string& path, const std::string& headers = {}) const { return ask(port(), request_text("GET", path, headers)); }
  [[nodiscard]] nlohmann::json json(const std::string& path) const;  // of an answer 200
  // With the token of the session that `headers` has a cookie for.
  [[nodiscard]] RawAnswer post(const std::string& path, const nlohmann::json& body, const std::string& headers = {}) const;
  // The list of stations has caught up with what is in the history.
  void wait_for_revision(std::int64_t over);

  void commit(history::Batch batch);
  [[nodiscard]] history::Batch small_history() const;  // two stations, one line of the first in trouble

  TempFolder folder_;
  Time now_ = time_from_ms(1'772'517'600'000);  // 2026-03-03T06:00Z
  std::unique_ptr<history::History> history_;
  std::unique_ptr<web::Web> web_;
  std::mutex mutex_;
  std::vector<std::pair<std::string, std::string>> posted_;  // into the journal
  bool journal_takes_ = true;
  std::vector<StationId> watched_;
  std::vector<Sample> lately_;  // what came of the first station before anybody watched
  std::optional<messages::LinkKey> link_key_;  // before start()
};

// Whatever departs from what the document says of a schema; members that it does not name among it. Empty: nothing.
[[nodiscard]] std::string departs(const std::string& schema, const nlohmann::json& value);

}  // namespace driftline::testing
