// What the service manager is told, read from the other end of its socket.
#include "gateway/app/service_manager.h"

#include <gtest/gtest.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>

#include "gateway/app/clean_ups.h"
#include "gateway/app/run_limits.h"
#include "tests/support/temp_folder.h"

namespace driftline {
namespace {

using std::chrono::seconds;

class ServiceManagerTest : public ::testing::Test {
 protected:
  ServiceManagerTest() : socket_(::socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0)) {
    const std::string path = folder_.file("notify");
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    std::copy(path.begin(), path.end(), address.sun_path);
    void* bytes = &address;
    EXPECT_EQ(bind(socket_, static_cast<sockaddr*>(bytes), sizeof(address)), 0);
    setenv("NOTIFY_SOCKET", path.c_str(), 1);
    setenv("WATCHDOG_USEC", "20000000", 1);
    setenv("WATCHDOG_PID", std::to_string(getpid()).c_str(), 1);
  }
  ~ServiceManagerTest() override {
    close(socket_);
    for (const char* name : {"NOTIFY_SOCKET", "WATCHDOG_USEC", "WATCHDOG_PID"}) unsetenv(name);
  }
  // Empty: nothing was said.
  std::string told() const {
    char buffer[1024];
    const ssize_t n = recv(socket_, buffer, sizeof(buffer), MSG_DONTWAIT);
    return n > 0 ? std::string(buffer, static_cast<std::size_t>(n)) : std::string();
  }

 private:
  testing::TempFolder folder_;
  int socket_;
};

TEST_F(ServiceManagerTest, hears_of_ready_and_of_a_reload) {
  // The service manager would wait for ever, or think that a reload is over before it is.
  ServiceManager manager;
  manager.ready("watching");
  EXPECT_EQ(told(), "READY=1\nSTATUS=watching");
  manager.reloading();
  EXPECT_EQ(told(), "RELOADING=1");
}

TEST_F(ServiceManagerTest, is_told_that_all_is_well_at_half_of_its_interval) {
  // Too seldom: restarted for nothing.
  ServiceManager manager;
  std::uint64_t beats = 0;
  int said = 0;
  for (int second = 100; second < 160; ++second) {
    EXPECT_FALSE(manager.watch({{"judgement", ++beats}}, seconds{second}));
    said += told() == "WATCHDOG=1" ? 1 : 0;
  }
  EXPECT_EQ(said, 6);
}

TEST_F(ServiceManagerTest, is_not_told_so_when_a_thread_hangs) {
  // A gateway whose judgement is stuck would look well for ever.
  ServiceManager manager;
  std::uint64_t beats = 0;
  std::string last;
  int second = 100;
  for (; second < 100 + 3 * static_cast<int>(hang_after.count()); ++second) {
    const auto hangs = manager.watch({{"source", ++beats}, {"judgement", 7}}, seconds{second});
    if (hangs) {
      EXPECT_EQ(*hangs, "judgement");
      EXPECT_GT(seconds{second - 100}, hang_after);
      EXPECT_EQ(told(), "");
    } else {
      (void)told();
    }
  }
  EXPECT_TRUE(manager.watch({{"source", ++beats}, {"judgement", 7}}, seconds{second}));
  EXPECT_FALSE(manager.watch({{"source", ++beats}, {"judgement", 8}}, seconds{second + 1}));
  EXPECT_EQ(told(), "WATCHDOG=1");
}

TEST(CleanUpsTest, undo_the_last_first_and_say_its_name) {
  // The history would be closed under the judgement that still writes.
  std::string order;
  {
    CleanUps clean_ups([&](const std::string& name) { order += name + ":"; });
    clean_ups.add("history", [&] { order += "h "; });
    clean_ups.add("judgement", [&] { order += "j "; });
  }
  EXPECT_EQ(order, "judgement:j history:h ");
}

}  // namespace
}  // namespace driftline
