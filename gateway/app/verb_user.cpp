// driftline user: users.json, with passwords as hashes.

#include <fcntl.h>
#include <sys/stat.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <iostream>
#include <nlohmann/json.hpp>

#include "gateway/app/command_line.h"
#include "gateway/app/config.h"
#include "gateway/app/config_json.h"
#include "gateway/app/config_schema.h"
#include "gateway/app/verbs.h"
#include "gateway/web/passwords.h"

namespace driftline {
namespace {

namespace fs = std::filesystem;

constexpr auto help_text =
    "Who may sign in at the page. Writes users.json in the configuration folder; the gateway takes it at a reload (SIGHUP).\n"
    "The password is asked for at the terminal, twice and without showing it, or read as one line from standard input; it is\n"
    "never an argument. What is stored is its argon2id hash.\n\n"
    "Roles: viewer reads; responder also notes work and acknowledges, shelves and comments warnings; engineer does all.";

// Without echo while it lives.
class Unseen {
 public:
  Unseen() {
    if (tcgetattr(STDIN_FILENO, &before_) != 0) return;
    termios without = before_;
    without.c_lflag &= ~static_cast<tcflag_t>(ECHO);
    changed_ = tcsetattr(STDIN_FILENO, TCSAFLUSH, &without) == 0;
  }
  ~Unseen() {
    if (changed_) tcsetattr(STDIN_FILENO, TCSAFLUSH, &before_);
  }
  Unseen(const Unseen&) = delete;
  Unseen& operator=(const Unseen&) = delete;

 private:
  termios before_{};
  bool changed_ = false;
};

std::optional<std::string> asked(const char* words) {
  std::cerr << words << std::flush;
  const Unseen unseen;
  std::string line;
  const bool read = static_cast<bool>(std::getline(std::cin, line));
  std::cerr << '\n';
  return read ? std::optional(line) : std::nullopt;
}

std::optional<std::string> password_from_person() {
  if (isatty(STDIN_FILENO) == 0) {
    std::string line;
    return std::getline(std::cin, line) ? std::optional(line) : std::nullopt;
  }
  auto first = asked("Password: ");
  const auto second = asked("Again:    ");
  if (first && first == second) return first;
  std::cerr << "driftline user: the two differ\n";
  return std::nullopt;
}

// All of it or nothing, and for its owner's eyes.
bool write_whole(const fs::path& file, const std::string& text) {
  const std::string made = file.string() + ".new";
  const int descriptor = ::open(made.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
  if (descriptor < 0) return false;
  std::size_t written = 0;
  while (written < text.size()) {
    const ssize_t count = ::write(descriptor, text.data() + written, text.size() - written);
    if (count <= 0) break;
    written += static_cast<std::size_t>(count);
  }
  const bool whole = written == text.size() && ::fsync(descriptor) == 0;
  struct stat old{};
  if (whole && ::stat(file.c_str(), &old) == 0) {
    (void)::fchmod(descriptor, old.st_mode & 07777);
    (void)!::fchown(descriptor, old.st_uid, old.st_gid);
  }
  ::close(descriptor);
  return whole && std::rename(made.c_str(), file.c_str()) == 0;
}

int tell(const std::string& why, int code) {
  std::cerr << "driftline user: " << why << '\n';
  return code;
}

}  // namespace

int verb_user(Arguments arguments) {
  std::string name;
  std::string folder;
  std::string role;
  bool remove = false;
  bool list = false;
  CLI::App app(help_text, "driftline user");
  app.add_option("name", name, "the user's name, 1 to 64 characters");
  app.add_option("--config", folder, "configuration folder")->required();
  app.add_option("--role", role, "viewer, responder or engineer; left out: as before, viewer for a new user")->check(CLI::IsMember({"viewer", "responder", "engineer"}));
  app.add_flag("--remove", remove, "take the user out");
  app.add_flag("--list", list, "print names and roles");
  if (const auto code = parse_command_line(app, arguments)) return *code;
  if (list == !name.empty() || name.size() > 64) return tell("either a NAME of 1 to 64 characters, or --list", exit_unusable);

  const fs::path file = fs::path(folder) / "users.json";
  Json document = {{"users", Json::array()}};
  if (fs::exists(file)) {
    std::vector<ConfigProblem> problems;
    auto read = read_json_file(file.string(), "users.json", problems);
    if (read) check_schema(ConfigSchema::users, *read, "users.json", "", problems);
    if (!problems.empty()) return tell(text_of(problems.front()), exit_unusable);
    document = std::move(*read);
  }
  Json& users = document["users"];
  if (list) {
    for (const Json& user : users) std::cout << user["name"].get<std::string>() << '\t' << user["role"].get<std::string>() << '\n';
    return exit_done;
  }
  const auto found = std::find_if(users.begin(), users.end(), [&](const Json& user) { return user["name"] == name; });
  if (remove) {
    if (found == users.end()) return tell("there is no user \"" + name + "\"", exit_failed);
    users.erase(found);
  } else {
    const auto password = password_from_person();
    if (!password) return tell("no password was given", exit_failed);
    if (const auto why = web::problem_of_password(*password)) return tell(*why, exit_failed);
    const auto hash = web::hashed_password(*password);
    if (!hash) return tell("there is no memory to hash the password with", exit_failed);
    Json user = found == users.end() ? Json{{"name", name}, {"role", "viewer"}} : *found;
    if (!role.empty()) user["role"] = role;
    user["password"] = *hash;
    if (found == users.end()) users.push_back(user);
    else *found = user;
  }
  std::error_code failed;
  fs::create_directories(folder, failed);
  if (!write_whole(file, document.dump(2, ' ', false, Json::error_handler_t::replace) + "\n")) return tell(file.string() + " cannot be written", exit_failed);
  std::cout << (remove ? "taken out: " : "stored: ") << name << "; a running gateway takes it at SIGHUP\n";
  return exit_done;
}

}  // namespace driftline
