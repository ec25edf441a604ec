#include "gateway/telemetry/recording.h"

#include <gtest/gtest.h>

#include <fstream>

#include "rules/records/time_text.h"

namespace driftline {
namespace {

namespace fs = std::filesystem;

class Recordings : public ::testing::Test {
 protected:
  void SetUp() override {
    folder_ = fs::temp_directory_path() / ("driftline-recordings-" + std::to_string(::getpid()) + "-" +
                                           ::testing::UnitTest::GetInstance()->current_test_info()->name());
    fs::create_directories(folder_);
  }
  void TearDown() override { fs::remove_all(folder_); }

  void put(const std::string& name, const std::string& text) { std::ofstream(folder_ / name, std::ios::binary) << text; }

  struct Read {
    std::vector<Message> messages;
    std::vector<RecordFault> faults;
    RecordingReader::Progress progress;
  };
  static Read read(const std::vector<fs::path>& paths) {
    Read out;
    auto reader = RecordingReader::open(paths);
    if (!reader) throw std::runtime_error(reader.error());
    Message message;
    RecordFault fault;
    for (auto step = reader->next(message, fault); step != RecordingReader::Step::end; step = reader->next(message, fault)) {
      if (step == RecordingReader::Step::message) out.messages.push_back(message);
      else out.faults.push_back(fault);
    }
    out.progress = reader->progress();
    return out;
  }

  fs::path folder_;
};

std::string line(std::string_view received, std::string_view topic, std::string_view payload = "{}") {
  return "{\"received\":\"" + std::string(received) + "\",\"topic\":\"" + std::string(topic) + "\",\"payload\":" +
         std::string(payload) + "}\n";
}

TEST_F(Recordings, come_back_as_written_plain_and_gzip) {
  // A replay would not see what was recorded.
  const std::vector<Message> messages{
      {*parse_rfc3339("2026-03-01T06:00:00.310Z"), "grease/a/b/telemetry", R"({"time":1,"x":"}\"]"})"},
      {*parse_rfc3339("2026-03-01T06:00:00.310Z"), "grease/a/b/telemetry", R"([1,[2,{"a":"\\"}]])"},
      {*parse_rfc3339("2026-03-01T06:00:01Z"), "odd \"topic\"\n\xC3\xA4", "true"},
      {*parse_rfc3339("2026-03-01T06:00:01Z"), "t", ""},
      {*parse_rfc3339("2026-03-01T06:00:01Z"), "t", "{\n}"},
      {*parse_rfc3339("2026-03-01T06:00:01Z"), "t", " 1"},
      {*parse_rfc3339("2026-03-01T06:00:01Z"), "t", std::string("\x00\xff\x80{", 4)},
      {*parse_rfc3339("2026-03-01T06:00:02Z"), "t", "{\"a\":NaN}"},
  };
  for (const char* name : {"one.ndjson", "one.ndjson.gz"}) {
    auto writer = RecordingWriter::create(folder_ / name);
    ASSERT_TRUE(writer);
    for (const auto& message : messages) ASSERT_FALSE(writer->write(message));
    ASSERT_FALSE(writer->close());
    const Read got = read({folder_ / name});
    EXPECT_TRUE(got.faults.empty());
    ASSERT_EQ(got.messages.size(), messages.size());
    for (std::size_t i = 0; i < messages.size(); ++i) {
      EXPECT_EQ(got.messages[i].received, messages[i].received);
      EXPECT_EQ(got.messages[i].topic, messages[i].topic);
      EXPECT_EQ(got.messages[i].payload, messages[i].payload);
    }
    EXPECT_EQ(got.progress.bytes_read, got.progress.bytes_total);
    EXPECT_EQ(got.progress.bytes_total, fs::file_size(folder_ / name));
  }
  std::ifstream gzip(folder_ / "one.ndjson.gz", std::ios::binary);
  EXPECT_EQ(gzip.get(), 0x1f);
}

TEST_F(Recordings, hold_json_as_it_is_and_all_else_as_base64) {
  // A person could not read a recording, or a reader of JSON would stumble over it.
  for (const char* json : {"{}", "[]", R"({"a":[],"b":{},"c":[[],{}],"d":1})", "[{},{}]", "-0.5e+3", "null", R"("\u00e4\n")", "[1, 2]"}) {
    std::string line;
    append_record(line, {time_from_ms(0), "t", json});
    EXPECT_EQ(line, R"({"received":"1970-01-01T00:00:00.000Z","topic":"t","payload":)" + std::string(json) + "}");
  }
  for (const char* other : {"[,1]", "[1,]", "{,}", "{\"a\"}", "[1 2]", "01", "1.", "+1", "nul", "\"\\x\"", "[]]", "{} {}"}) {
    std::string line;
    append_record(line, {time_from_ms(0), "t", other});
    EXPECT_NE(line.find("payload_base64"), std::string::npos) << other;
  }
}

TEST_F(Recordings, are_merged_by_time_of_arrival_and_then_by_name) {
  // Two recorders of one plant would be replayed one after the other.
  put("b.ndjson", line("2026-03-01T06:00:00Z", "b1") + line("2026-03-01T06:00:02Z", "b2"));
  put("a.ndjson", line("2026-03-01T06:00:00Z", "a1") + line("2026-03-01T06:00:00Z", "a2") + line("2026-03-01T06:00:02Z", "a3"));
  put("c.ndjson", line("2026-03-01T06:00:01Z", "c1"));
  put("notes.txt", "not a recording");
  std::string order;
  for (const auto& message : read({folder_, folder_ / "b.ndjson"}).messages) order += message.topic + " ";
  EXPECT_EQ(order, "a1 a2 b1 c1 a3 b2 ");
}

TEST_F(Recordings, a_line_that_cannot_be_read_is_said_and_the_rest_goes_on) {
  // One torn line would end a replay of months.
  put("a.ndjson", "\xEF\xBB\xBF" + line("2026-03-01T06:00:00Z", "t1") + "rubbish\n\n" + line("yesterday", "t") +
                      "{\"received\":\"2026-03-01T06:00:00Z\",\"topic\":\"t\"}\r\n" +
                      "{\"received\":\"2026-03-01T06:00:00Z\",\"topic\":\"t\",\"payload_base64\":\"?\"}\n" +
                      "{\"payload\" : [1, 2] , \"extra\":{\"a\":[]}, \"topic\":\"\\u0074\\ud83d\\ude002\", \"received\":\"2026-03-01T06:00:03Z\" }\r\n" +
                      "{\"received\":\"2026-03-01T06:00:00Z\",\"topic\":\"t\",\"payl");
  const Read got = read({folder_ / "a.ndjson"});
  ASSERT_EQ(got.messages.size(), 2U);
  EXPECT_EQ(got.messages[1].topic, "t\xF0\x9F\x98\x80" "2");
  EXPECT_EQ(got.messages[1].payload, "[1, 2]");
  ASSERT_EQ(got.faults.size(), 5U);
  const std::vector<std::uint64_t> lines{2, 4, 5, 6, 8};
  for (std::size_t i = 0; i < lines.size(); ++i) {
    EXPECT_EQ(got.faults[i].line, lines[i]);
    EXPECT_EQ(got.faults[i].fault.code, FaultCode::unreadable_record);
    EXPECT_EQ(got.faults[i].file, (folder_ / "a.ndjson").string());
  }
  EXPECT_EQ(got.faults[1].fault.where, "/received");
  EXPECT_EQ(got.faults[3].fault.where, "/payload_base64");
}

TEST_F(Recordings, a_cut_off_gzip_gives_what_it_holds_and_one_fault) {
  // An incomplete copy would be taken for a whole one, or not read at all.
  {
    auto writer = RecordingWriter::create(folder_ / "a.ndjson.gz");
    for (int i = 0; i < 20'000; ++i)
      ASSERT_FALSE(writer->write({time_from_ms(1'772'344'800'000 + i * 997), "grease/a/b/telemetry", "{\"seq\":" + std::to_string(i * 7919 % 10007) + "}"}));
    ASSERT_FALSE(writer->close());
  }
  fs::resize_file(folder_ / "a.ndjson.gz", fs::file_size(folder_ / "a.ndjson.gz") / 2);
  const Read got = read({folder_ / "a.ndjson.gz"});
  EXPECT_GT(got.messages.size(), 5'000U);
  EXPECT_LT(got.messages.size(), 15'000U);
  ASSERT_EQ(got.faults.size(), 1U);
  EXPECT_NE(got.faults[0].fault.why.find("cut off"), std::string::npos);
}

TEST_F(Recordings, time_of_arrival_never_steps_back) {
  // The fold's clock would run backwards.
  put("a.ndjson", line("2026-03-01T06:00:05Z", "t1") + line("2026-03-01T06:00:00Z", "t2"));
  const Read got = read({folder_ / "a.ndjson"});
  ASSERT_EQ(got.messages.size(), 2U);
  EXPECT_EQ(got.messages[1].received, got.messages[0].received);
}

TEST_F(Recordings, what_cannot_be_opened_is_named) {
  // A mistyped path would replay nothing and look well.
  EXPECT_EQ(RecordingReader::open({folder_ / "none.ndjson"}).error(), (folder_ / "none.ndjson").string() + ": no such file or folder");
  EXPECT_EQ(RecordingReader::open({folder_}).error(), folder_.string() + ": holds no recording (*.ndjson or *.gz)");
  EXPECT_FALSE(RecordingWriter::create(folder_ / "no" / "such.ndjson"));
}

}  // namespace
}  // namespace driftline
