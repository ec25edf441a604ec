#include "tests/support/certificates.h"

#include <filesystem>
#include <stdexcept>
#include <vector>

#include "tests/support/process.h"

namespace driftline::testing {
namespace {

void openssl(std::vector<std::string> arguments) {
  arguments.insert(arguments.begin(), "openssl");
  Process process(
      {.command = std::move(arguments), .environment = {}, .output_file = {}, .file_bytes_max = {}});
  if (process.wait() != 0) throw std::runtime_error("openssl failed");
}

}  // namespace

Certificates::Certificates() : ca_{folder_.file("ca.pem"), folder_.file("ca.key")} {
  openssl({"req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days",
           "2", "-subj", "/CN=Test authority", "-keyout", ca_.key_file, "-out", ca_.certificate_file});
}

Certificate Certificates::issue(const std::string& name, const std::string& alternative_names) const {
  const Certificate issued{folder_.file(name + ".pem"), folder_.file(name + ".key")};
  const std::string request = folder_.file(name + ".csr");
  const std::string extension = folder_.write(name + ".ext", "subjectAltName=" + alternative_names + "\n");
  openssl({"req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-subj",
           "/CN=" + name, "-keyout", issued.key_file, "-out", request});
  openssl({"x509", "-req", "-in", request, "-CA", ca_.certificate_file, "-CAkey", ca_.key_file,
           "-CAcreateserial", "-days", "2", "-extfile", extension, "-out", issued.certificate_file});
  std::filesystem::permissions(issued.key_file,
                               std::filesystem::perms::owner_read | std::filesystem::perms::owner_write);
  return issued;
}

}  // namespace driftline::testing
