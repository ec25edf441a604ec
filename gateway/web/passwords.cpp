#include "gateway/web/passwords.h"

#include <array>

#include <sodium.h>

#include "gateway/web/limits.h"
#include "gateway/web/sessions.h"
#include "gateway/web/target.h"
#include "rules/records/require.h"

namespace driftline::web {

std::optional<std::string> problem_of_password(const std::string& password) {
  if (password.size() < password_characters_min) return "a password has at least " + std::to_string(password_characters_min) + " characters";
  if (password.size() > password_bytes_max) return "a password has at most " + std::to_string(password_bytes_max) + " bytes";
  if (!is_utf8_text(password)) return "a password is text, without controls";
  return std::nullopt;
}

std::optional<std::string> hashed_password(const std::string& password) {
  require(sodium_init() >= 0, "there is a source of random numbers");
  std::array<char, crypto_pwhash_STRBYTES> text{};
  if (crypto_pwhash_str_alg(text.data(), password.data(), password.size(), crypto_pwhash_OPSLIMIT_INTERACTIVE, crypto_pwhash_MEMLIMIT_INTERACTIVE,
                            crypto_pwhash_ALG_ARGON2ID13) != 0)
    return std::nullopt;
  return std::string(text.data());
}

bool password_fits(const std::string& hash, const std::string& password) {
  if (!is_password_hash(hash)) return false;
  return crypto_pwhash_str_verify(hash.c_str(), password.data(), password.size()) == 0;
}

const std::string& hash_of_nobody() {
  static const std::string hash = hashed_password(random_token()).value_or("");
  return hash;
}

bool is_password_hash(const std::string& text) {
  return text.size() < crypto_pwhash_STRBYTES && text.starts_with("$argon2id$v=19$") &&
         crypto_pwhash_str_needs_rehash(text.c_str(), crypto_pwhash_OPSLIMIT_INTERACTIVE, crypto_pwhash_MEMLIMIT_INTERACTIVE) >= 0;
}

}  // namespace driftline::web
