// A certificate authority of a test's own, made with the openssl program.
#pragma once

#include <string>

#include "tests/support/temp_folder.h"

namespace driftline::testing {

struct Certificate {
  std::string certificate_file;
  std::string key_file;
};

class Certificates {
 public:
  Certificates();
  [[nodiscard]] const std::string& ca_file() const { return ca_.certificate_file; }
  // `alternative_names` as OpenSSL writes them: "DNS:localhost,IP:127.0.0.1".
  [[nodiscard]] Certificate issue(const std::string& name, const std::string& alternative_names) const;

 private:
  TempFolder folder_;
  Certificate ca_;
};

}  // namespace driftline::testing
