// Everything that the messages say of themselves.
#pragma once

#include <string>

#include "gateway/history/rows.h"

namespace driftline::messages::events {

void planned(std::size_t messages);  // counted only
void sent(const std::string& channel, std::size_t messages);  // counted only
void refused(const std::string& channel, const std::string& person, const std::string& answer);
void given_up(const std::string& channel, const std::string& person);
void channel_down(const std::string& channel, const std::string& why);
void channel_back(const std::string& channel);
void history_trouble(const history::Trouble& trouble);

}  // namespace driftline::messages::events
