// Picks the verb; all else is gateway/app.

#include <algorithm>
#include <iostream>
#include <string>
#include <vector>

#include "gateway/app/verbs.h"

namespace {

void overview(std::ostream& out) {
  out << "driftline watches automatic grease-lubrication stations and warns before a line fails.\n\n"
         "  driftline VERB [ARGUMENTS]\n\n";
  for (const driftline::Verb& verb : driftline::verbs())
    out << "  " << verb.name << std::string(12 - verb.name.size(), ' ') << verb.what << '\n';
  out << "\n  driftline VERB --help   what a verb takes\n"
         "  driftline --version\n\n"
         "Exit codes: 0 done, 1 failed, 2 the command line or the configuration cannot be used.\n";
}

}  // namespace

int main(int argc, char** argv) {
  const std::vector<std::string> arguments(argv + 1, argv + argc);
  if (arguments.empty()) {
    overview(std::cerr);
    return driftline::exit_unusable;
  }
  if (arguments[0] == "--help" || arguments[0] == "-h") {
    overview(std::cout);
    return driftline::exit_done;
  }
  if (arguments[0] == "--version") {
    std::cout << "driftline " DRIFTLINE_VERSION "\n";
    return driftline::exit_done;
  }
  const auto all = driftline::verbs();
  const auto verb = std::ranges::find(all, arguments[0], &driftline::Verb::name);
  if (verb == all.end()) {
    std::cerr << "driftline: no verb is called \"" << arguments[0] << "\"\n\n";
    overview(std::cerr);
    return driftline::exit_unusable;
  }
  return verb->run(std::span(arguments).subspan(1));
}
