// The gateway as a process that kills itself (SIGKILL) at the n-th step of its messages.
//
//   gateway_that_dies CONFIG_FOLDER DATA_FOLDER STEP
//
// Steps are counted from 1, over all threads; 0: it does not.
#include <unistd.h>

#include <atomic>
#include <csignal>
#include <cstdlib>
#include <iostream>

#include "gateway/app/config.h"
#include "gateway/app/messages_consumer.h"
#include "gateway/app/verb_run.h"

int main(int argc, char** argv) {
  using namespace driftline;
  if (argc != 4) return 2;
  const int step = std::atoi(argv[3]);
  static std::atomic<int> steps{0};
  const auto load = [&] {
    LoadedSettings loaded;
    ConfigOutcome outcome = load_config(argv[1]);
    for (const ConfigProblem& problem : outcome.problems) loaded.problems.push_back(text_of(problem));
    if (!outcome.config || !outcome.config->duty) return loaded;
    outcome.config->store.data_folder = argv[2];
    GatewaySettings settings = gateway_settings(*outcome.config);
    settings.consumers.clear();
    settings.consumers.push_back(messages_consumer(*outcome.config->duty, {}, [step](const char*) {
      if (++steps == step) ::kill(::getpid(), SIGKILL);
    }));
    loaded.settings = std::move(settings);
    return loaded;
  };
  return run_gateway(load, std::cout, std::cerr);
}
