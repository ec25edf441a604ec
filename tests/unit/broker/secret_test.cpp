#include "gateway/broker/secret.h"

#include <gtest/gtest.h>

#include <cstdlib>

#include "tests/support/temp_folder.h"

namespace driftline::broker {
namespace {

TEST(Credentials, come_from_the_first_line_of_a_file) {
  // A line end read as part of the password is the commonest reason for "not authorised".
  const testing::TempFolder folder;
  BrokerSettings settings;
  settings.user = "gate";
  settings.password_file = folder.write("password", "s3 cret\r\nsecond line\n");
  const CredentialsOutcome out = read_credentials(settings);
  EXPECT_EQ(out.problem, std::nullopt);
  EXPECT_EQ(out.credentials.user, "gate");
  EXPECT_EQ(out.credentials.password, "s3 cret");
}

TEST(Credentials, come_from_the_environment) {
  // A container has no file to point to.
  setenv("DRIFTLINE_TEST_USER", "gate", 1);
  setenv("DRIFTLINE_TEST_PASSWORD", "pass", 1);
  BrokerSettings settings;
  settings.user_env = "DRIFTLINE_TEST_USER";
  settings.password_env = "DRIFTLINE_TEST_PASSWORD";
  const CredentialsOutcome out = read_credentials(settings);
  EXPECT_EQ(out.credentials.user, "gate");
  EXPECT_EQ(out.credentials.password, "pass");
}

TEST(Credentials, that_cannot_be_read_are_a_problem_and_not_an_anonymous_attempt) {
  // Trying without a password locks accounts and hides the typo in the path.
  BrokerSettings settings;
  settings.user = "gate";
  settings.password_file = "/nowhere/password";
  const CredentialsOutcome out = read_credentials(settings);
  ASSERT_TRUE(out.problem);
  EXPECT_NE(out.problem->find("/nowhere/password"), std::string::npos);
  EXPECT_EQ(out.credentials.user, std::nullopt);
  settings.password_file.reset();
  settings.password_env = "DRIFTLINE_TEST_NOT_SET";
  EXPECT_TRUE(read_credentials(settings).problem);
}

}  // namespace
}  // namespace driftline::broker
