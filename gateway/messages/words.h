// The catalogue of all that people are sent: every text by its name, with {places} that are filled in. English stands in
// words.cpp; another language is a JSON file of name and text beside the duty list (`driftline check --words` prints the English
// one to translate). What the rules have written into a warning (its reason and evidence) is English, and is left out of
// messages in other languages. Pure.
#pragma once

#include <initializer_list>
#include <map>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace driftline::messages {

class Words {
 public:
  Words();  // English

  using Places = std::initializer_list<std::pair<std::string_view, std::string_view>>;
  // The text of that name with its places filled in; nothing for a name that the catalogue has not.
  [[nodiscard]] std::string say(std::string_view name, Places places = {}) const;
  [[nodiscard]] const std::map<std::string, std::string, std::less<>>& all() const { return texts_; }
  [[nodiscard]] bool english() const { return english_; }

  struct Problem {
    std::string name, why, remedy;
  };
  // Takes another language's texts in place of the English ones. Each problem is one of a text: not known here, missing, a
  // place too many or too few. Takes nothing where there is one.
  [[nodiscard]] std::vector<Problem> translate(const std::map<std::string, std::string>& texts);

  bool operator==(const Words&) const = default;

 private:
  std::map<std::string, std::string, std::less<>> texts_;
  bool english_ = true;
};

}  // namespace driftline::messages
