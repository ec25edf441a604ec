// driftline replay: recordings through the gateway's own judgement, into files.

#include <algorithm>
#include <iostream>
#include <thread>

#include "gateway/app/command_line.h"
#include "gateway/app/config.h"
#include "gateway/app/journal_recording.h"
#include "gateway/app/progress.h"
#include "gateway/app/replay.h"
#include "gateway/app/verbs.h"

namespace driftline {
namespace {

constexpr auto help_text =
    "Judges recorded telemetry with the same code as the running gateway.\n\n"
    "A recording holds one message a line in order of arrival (.ndjson, or gzip). Several recordings, or a folder of them,\n"
    "are merged by time of arrival. Into the output folder go, in event-time order:\n"
    "  half-cycles.ndjson  what each turn of each line did\n"
    "  warnings.ndjson     each change of a warning, with the text a technician reads\n"
    "  reservoirs.ndjson   level, use and life of each reservoir, once a day\n"
    "  forecasts.ndjson    when limits are expected to be met, once a day while a warning looks ahead\n"
    "  faults.ndjson       messages that could not be used, and why";

void print_report(const ReplayReport& report, const std::filesystem::path& out, bool json) {
  if (json) {
    std::cout << "{\"messages\":" << report.messages << ",\"samples\":" << report.samples
              << ",\"samples_behind\":" << report.samples_behind << ",\"stations\":" << report.stations << ",\"half_cycles\":" << report.half_cycles
              << ",\"warnings_raised\":" << report.warnings_raised << ",\"faults\":" << report.faults
              << ",\"stations_set_aside\":" << report.stations_set_aside << "}\n";
    return;
  }
  std::cout << report.messages << " messages of " << report.stations << " stations (" << report.samples << " samples): "
            << report.half_cycles << " half-cycles, " << report.warnings_raised << " warnings raised, " << report.faults
            << " faults\nwritten to " << out.string() << '\n';
  if (report.samples_behind > 0)
    std::cout << report.samples_behind << " samples came too late to be used, or again after they had been\n";
  if (report.stations_set_aside > 0)
    std::cerr << "driftline replay: " << report.stations_set_aside
              << " stations were set aside: an invariant of the program did not hold; please report it with the recording\n";
}

tl::expected<std::string, std::string> journal_as_recording(const std::string& data_folder, const std::filesystem::path& out) {
  std::error_code failed;
  std::filesystem::create_directories(out, failed);
  const std::filesystem::path recording = out / "journal.ndjson.gz";
  const auto messages = record_journal(data_folder, recording);
  if (!messages) return tl::unexpected(messages.error());
  return recording.string();
}

// Rows written into a folder that is read would be taken for recordings by the next replay.
bool reads_where_it_writes(const std::vector<std::string>& recordings, const std::string& out) {
  return std::any_of(recordings.begin(), recordings.end(), [&](const std::string& recording) {
    std::error_code failed;
    return std::filesystem::is_directory(recording, failed) && std::filesystem::equivalent(recording, out, failed);
  });
}

// Exit code of a replay that went to its end.
int judge_report(const ReplayReport& report) {
  if (report.lines_unreadable > 0)
    std::cerr << "driftline replay: " << report.lines_unreadable
              << " lines are not recorded messages, or a recording is cut off: faults.ndjson names each\n";
  const bool nothing_read = report.messages == 0 && report.lines_unreadable > 0;
  return report.stations_set_aside > 0 || nothing_read ? exit_failed : exit_done;
}

}  // namespace

int verb_replay(Arguments arguments) {
  ReplaySettings settings;
  std::string config_folder;
  std::vector<std::string> recordings;
  std::string out;
  std::string journal_of;
  bool json = false;
  int threads = static_cast<int>(std::max(1U, std::thread::hardware_concurrency()));

  CLI::App app(help_text, "driftline replay");
  app.add_option("recording", recordings, "recordings (.ndjson, .ndjson.gz) or folders of them");
  app.add_option("--journal", journal_of, "data folder of a gateway that does not run: its journal, written to OUT/journal.ndjson.gz, is the recording");
  app.add_option("--config", config_folder, "configuration folder; without it all stations are judged with the defaults");
  app.add_option("--out", out, "folder for the files; made if absent");
  app.add_option("--threads", threads, "threads that judge; changes nothing but the time it takes")
      ->check(CLI::Range(1, 64))->capture_default_str();
  app.add_flag("--json", json, "print the summary as JSON");
  if (const auto code = parse_command_line(app, arguments)) return *code;
  if (recordings.empty() == journal_of.empty() || out.empty()) {
    if (recordings.empty() == journal_of.empty())
      std::cerr << "driftline replay: give recordings or --journal, one of the two\n";
    if (out.empty()) std::cerr << "driftline replay: --out is missing, the folder for the files\n";
    std::cerr << "    driftline replay RECORDING... --config DIR --out DIR      (--help says more)\n";
    return exit_unusable;
  }

  if (reads_where_it_writes(recordings, out)) {
    std::cerr << "driftline replay: " << out << " holds the recordings; write into another folder\n";
    return exit_unusable;
  }

  if (!config_folder.empty()) {
    ConfigOutcome outcome = load_config(config_folder);
    for (const ConfigProblem& problem : outcome.problems) std::cerr << text_of(problem) << '\n';
    if (!outcome.config) return exit_unusable;
    settings.plant = std::move(outcome.config->plant);
  }
  if (!journal_of.empty()) {
    const auto written = journal_as_recording(journal_of, out);
    if (!written) {
      std::cerr << "driftline replay: " << written.error() << '\n';
      return exit_failed;
    }
    recordings.push_back(*written);
  }
  settings.plant.threads = threads;
  settings.recordings.assign(recordings.begin(), recordings.end());
  settings.out = out;
  Progress progress("replay");
  const ReplayOutcome outcome = replay(settings, [&](const ReplayProgress& at) {
    progress.show(at.bytes_done, at.bytes_total, std::to_string(at.messages) + " messages");
  });
  if (!outcome.report) {
    std::cerr << "driftline replay: " << outcome.why << '\n';
    return exit_failed;
  }
  print_report(*outcome.report, settings.out, json);
  return judge_report(*outcome.report);
}

}  // namespace driftline
