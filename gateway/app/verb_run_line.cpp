// driftline run: the command line of the gateway; what it does is verb_run.cpp.

#include <unistd.h>

#include <csignal>
#include <filesystem>
#include <iostream>

#include "gateway/app/command_line.h"
#include "gateway/app/config.h"
#include "gateway/app/rollout.h"
#include "gateway/app/thresholds_json.h"
#include "gateway/app/verb_run.h"
#include "gateway/app/verbs.h"

namespace driftline {
namespace {

constexpr auto help_text =
    "The gateway: reads telemetry from the broker, keeps journal and history in the data folder, publishes "
    "warnings,\n"
    "half-cycles and reservoirs to the broker and writes figures to a time-series store, until it is told to "
    "end.\n\n"
    "SIGTERM and SIGINT end it cleanly. SIGHUP reads the configuration anew; if anything is wrong with it, "
    "the gateway says\n"
    "so and runs on as before. Logs go to standard error.\n"
    "Exit codes: 0 clean end, 1 failed while running (a service manager starts it again), 2 could not start.";

LoadSettings loader(const std::string& config_folder, const std::string& data_folder) {
  return [=] {
    LoadedSettings loaded;
    Config config;
    std::function<std::vector<EffectiveThreshold>(const StationId&)> explain = [](const StationId&) { return explained({}); };
    if (!config_folder.empty()) {
      ConfigOutcome outcome = load_config(config_folder);
      for (const ConfigProblem& problem : outcome.problems) loaded.problems.push_back(text_of(problem));
      if (!outcome.config) return loaded;
      config = std::move(*outcome.config);
      explain = std::move(outcome.explain);
    }
    if (!data_folder.empty()) config.store.data_folder = data_folder;
    loaded.settings = gateway_settings(config);
    loaded.rollouts = rollout::rows_of(config_folder);
    std::error_code ignored;
    if (std::filesystem::is_directory(config_folder, ignored)) loaded.settings->config_folder = config_folder;
    loaded.settings->ask_reload = [] { ::kill(::getpid(), SIGHUP); };  // the way that a person would ask for it
    loaded.settings->explain = std::move(explain);  // of what runs, whatever the files have become meanwhile
    return loaded;
  };
}

}  // namespace

int verb_run(Arguments arguments) {
  std::string config_folder;
  std::string data_folder;
  bool health = false;
  CLI::App app(help_text, "driftline run");
  app.add_option("--config", config_folder,
                 "configuration folder; without it: broker at 127.0.0.1:1883, all stations with defaults");
  app.add_option("--data", data_folder,
                 "folder of journal and history; overrides data_folder of gateway.json");
  app.add_flag("--health", health,
               "do not run: say how the gateway on the data folder is; exit code 0 if well, else 1");
  if (const auto code = parse_command_line(app, arguments)) return *code;
  const LoadSettings load = loader(config_folder, data_folder);
  if (!health) return run_gateway(load, std::cout, std::cerr);
  const LoadedSettings loaded = data_folder.empty() ? load() : LoadedSettings{};
  if (data_folder.empty() && !loaded.settings) {
    std::cerr << "driftline run: the configuration cannot be used; driftline check says why\n";
    return exit_unusable;
  }
  return tell_health(data_folder.empty() ? loaded.settings->store.data_folder : data_folder, std::cout);
}

}  // namespace driftline
