// Passwords: argon2id, by libsodium. The hash is a text that names its own parameters.
#pragma once

#include <optional>
#include <string>

namespace driftline::web {

// Why it cannot be a password; empty: it can.
[[nodiscard]] std::optional<std::string> problem_of_password(const std::string& password);
// 64 MB and some 0.1 s, on purpose; so does checking. Empty: no memory.
[[nodiscard]] std::optional<std::string> hashed_password(const std::string& password);
[[nodiscard]] bool password_fits(const std::string& hash, const std::string& password);
// One that fits no password and takes as long to find out: for names that do not exist.
[[nodiscard]] const std::string& hash_of_nobody();
[[nodiscard]] bool is_password_hash(const std::string& text);

}  // namespace driftline::web
