// The words of messages, from the catalogue (words.h). For a telephone held in one hand: what, what changed, how long there is,
// what to check first, what to bring, the caution, links. Pure.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "gateway/history/message_rows.h"
#include "gateway/history/rows.h"
#include "gateway/messages/blocks.h"
#include "gateway/messages/bundles.h"
#include "gateway/messages/duty.h"
#include "gateway/messages/links.h"

namespace driftline::messages {

inline constexpr std::size_t subject_characters_max = 60;

struct Text {
  std::string subject;  // one line, at most subject_characters_max
  std::string plain;    // lines end with \n
  std::string html;     // see html_of
  std::vector<Picture> pictures;
  std::string thread;   // equal for all messages about one raise of a warning
};

// Items of one person and one channel that make one message: one item, or several of a bundle.
[[nodiscard]] Text text_of(const std::vector<Item>& items, const DutyList& duty, const Links& links, Time now);

// "ACT ps-01 line 2: slow to pressure, 9 days", at most subject_characters_max.
[[nodiscard]] std::string subject_of(const Item& item, const DutyList& duty, Time now);

}  // namespace driftline::messages
