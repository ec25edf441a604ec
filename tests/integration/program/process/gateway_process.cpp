// The gateway as a process of its own, so that a test can kill it or take its disk away: run_gateway with
// settings from arguments, so that no configuration is needed.
//
//   gateway_process PORT DATA_FOLDER [OUTPUT_ROOT_FILE]
//
// The output root is read from the file at each (re)load, if one is given; a file that is not there is a
// problem.
#include <cstdlib>
#include <fstream>
#include <iostream>
#include <string>

#include "gateway/app/verb_run.h"

int main(int argc, char** argv) {
  using namespace driftline;
  if (argc < 3) return 2;
  const std::string root_file = argc > 3 ? argv[3] : "";
  const auto load = [&] {
    LoadedSettings loaded;
    GatewaySettings settings;
    settings.broker.port = static_cast<std::uint16_t>(std::atoi(argv[1]));
    settings.broker.client_id = "gate-1";
    settings.broker.retry_s_max = 1;
    settings.broker.keep_alive_s = 10;
    settings.store.data_folder = argv[2];
    if (!root_file.empty() && !(std::ifstream(root_file) >> settings.broker.output_root)) {
      loaded.problems.push_back(root_file + " cannot be read");
      return loaded;
    }
    loaded.settings = std::move(settings);
    return loaded;
  };
  return run_gateway(load, std::cout, std::cerr);
}
