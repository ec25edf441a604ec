// The words of messages: every sentence that a person is sent, but for the warning's own (rules/warnings/text.cpp), stands in
// text.cpp. Plain words, for a telephone held in one hand. Pure.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "gateway/history/rows.h"
#include "gateway/messages/bundles.h"
#include "gateway/messages/duty.h"
#include "gateway/messages/links.h"

namespace driftline::messages {

inline constexpr std::size_t subject_characters_max = 60;

struct Text {
  std::string subject;  // one line, at most subject_characters_max
  std::string plain;    // lines end with \n
  std::string html;
  std::string thread;   // equal for all messages about one raise of a warning
};

// Items of one person and one channel that make one message: one item, or several of one cause.
[[nodiscard]] Text text_of(const std::vector<Item>& items, const DutyList& duty, const Links& links, Time now);

struct DigestText {
  std::string subject, body;
};
[[nodiscard]] DigestText digest_text(const std::vector<history::Stored<history::LifeRow>>& lives, std::int64_t stations_known,
                                     const std::string& date, Time now);

// Cut at a character's edge.
[[nodiscard]] std::string shortened(std::string_view text, std::size_t characters);

}  // namespace driftline::messages
