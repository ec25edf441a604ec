// A message as a list of blocks, from which its plain and its HTML form are made. Pure.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "gateway/messages/picture.h"

namespace driftline::messages {

struct Block {
  enum class Kind : std::uint8_t {
    head,      // what it is about
    note,      // small print
    line,      // a sentence
    list,      // `items`, numbered
    points,    // `items`, with dashes
    caution,
    button,    // text and url: what to press first
    link,      // text and url
    picture,   // text says what is to be seen; `trend` is drawn in HTML alone
    section,   // begins a further message of a bundle
  };
  Kind kind = Kind::line;
  std::string text{};
  std::string url{};
  std::vector<std::string> items{};
  std::optional<Trend> trend{};
};

struct Picture {
  std::string id;   // of its Content-ID, without the host
  std::string png;
};

// Lines end with \n.
[[nodiscard]] std::string plain_of(const std::vector<Block>& blocks);
// One document without scripts, outside resources and style sheets, for 360 px and more. Pictures are named by "cid:ID@HOST";
// HOST stands for itself there and is put in by whoever knows it.
[[nodiscard]] std::string html_of(const std::string& subject, const std::string& language, const std::string& accent, const std::vector<Block>& blocks,
                                  std::vector<Picture>& pictures);

inline constexpr std::string_view host_place = "@HOST";

}  // namespace driftline::messages
